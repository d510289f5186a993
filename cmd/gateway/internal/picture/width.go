package picture

import "math"

// em is the unit of letters' widths, of the font that words ask for first.
const em = 2048

// Width is about how many pixels wide words are; a reader's own letters may be
// wider.
func Width(words string, s Style) int {
	sum := 0
	for _, r := range words {
		sum += advance(r)
	}
	return int(math.Ceil(float64(sum) * pixels(s.Size) / em))
}

// advance is the width of Roboto Medium's letters from blank to tilde, of its
// digits for other letters, and a whole em for signs.
func advance(r rune) int {
	widths := [...]int{
		509, 542, 654, 1235, 1164, 1508, 1313, 343, 709, 716, 908, 1137, 458, 696, 569, 799,
		1164, 1164, 1164, 1164, 1164, 1164, 1164, 1164, 1164, 1164, 540, 491, 1042, 1152, 1064, 996,
		1837, 1358, 1293, 1337, 1337, 1157, 1128, 1395, 1453, 580, 1138, 1294, 1106, 1791, 1453, 1411,
		1307, 1411, 1289, 1240, 1248, 1340, 1322, 1803, 1293, 1251, 1235, 556, 853, 556, 878, 917,
		656, 1104, 1151, 1069, 1154, 1097, 723, 1161, 1138, 522, 514, 1068, 522, 1784, 1140, 1162,
		1151, 1159, 724, 1054, 682, 1139, 1016, 1520, 1030, 1003, 1030, 683, 509, 683, 1357,
	}
	switch {
	case r >= ' ' && r <= '~':
		return widths[r-' ']
	case r == '°':
		return 783
	case r >= 0x2000:
		return em
	}
	return widths['0'-' ']
}
