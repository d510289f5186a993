package main

import (
	"regexp"
	"strings"
)

// leftOut stands for a secret.
const leftOut = "(left out)"

// secretKey is a key that names a secret, or where somebody lives.
const secretKey = `["']?(?:[\w-]*(?:password|passwd|passphrase|pwd|secret|token|bearer|webhook|credential|api-?key|post-to|user|latitude|longitude|\blat\b|\blon\b)[\w-]*|\b(?:[\w-]+-)?(?:key|pass))["']?`

// redact takes secrets out of a text: whatever stands behind a key that names
// one, user and password in addresses, and where the garden is, which is
// somebody's home.
func redact(src string) string {
	return redactAddresses(hideValues(src, secretKey, true))
}

// redactGarden is redact for a garden file, valid or not. There a "value" is a
// header's, which may be a secret that belonged into a file, and a secret may go
// on for lines.
func redactGarden(src string) string {
	src = hideValues(dropFurtherLines(src), `["']?\bvalue["']?`, false)
	return redactAddresses(hideValues(src, secretKey, false))
}

func redactAddresses(src string) string {
	userinfo := regexp.MustCompile(`(://)[^/\s@"']+@`)
	src = userinfo.ReplaceAllString(src, "${1}"+leftOut+"@")
	// Addresses are somebody's, wherever they stand.
	address := regexp.MustCompile(`[\w.+-]+@[\w-]+(?:\.[\w-]+)+`)
	return address.ReplaceAllString(src, leftOut)
}

// hideValues leaves out what stands behind a key on its line; rather too much
// than too little. In prose a value ends at a comma, in a garden file only in
// braces that opened on its line.
func hideValues(src, key string, prose bool) string {
	keys := regexp.MustCompile(`(?i)` + key + `\s*:[ \t]*`)
	var out strings.Builder
	for {
		at := keys.FindStringIndex(src)
		if at == nil {
			out.WriteString(src)
			return out.String()
		}
		out.WriteString(src[:at[1]])
		out.WriteString(leftOut)
		rest, _, _ := strings.Cut(src[at[1]:], "\n")
		before := out.String()
		before = before[strings.LastIndexByte(before, '\n')+1:]
		ends := plainEnds
		if prose {
			ends = proseEnds
		} else if strings.Count(before, "{") > strings.Count(before, "}") {
			ends = bracesEnds
		}
		src = src[at[1]:][valueLen(rest, ends):]
	}
}

// What ends a value, besides its line's end. In braces a comma does where another
// key follows, since a secret may hold one, and a brace where it closes something.
const (
	plainEnds  = `\s*$|\s+#`
	proseEnds  = plainEnds + `|\s*[,}]`
	bracesEnds = plainEnds + `|\s*,\s*(?:$|"[^"]*"\s*:|'[^']*'\s*:|[\w-]+\s*:(?:\s|$))|\s*\}\s*(?:$|[,}\]]|\s#)`
)

// valueLen is how much of a line's rest is the value it begins with: a text in
// quotes where nothing else stands behind it, or all up to one of the ends.
func valueLen(line, ends string) int {
	quoted := regexp.MustCompile(`^(?:"(?:[^"\\]|\\.)*"|'(?:[^']|'')*')`).FindString(line)
	if quoted != "" && regexp.MustCompile(`^(?:`+ends+`)`).MatchString(line[len(quoted):]) {
		return len(quoted)
	}
	return regexp.MustCompile(ends).FindStringIndex(line)[0]
}

// further leaves out the lines that a secret takes besides its key's, line by line.
type further struct {
	key, own *regexp.Regexp
	// quote is the one that a secret opened and has not closed.
	quote byte
	// below is how deep the key stands of a secret that everything deeper belongs
	// to: a block of text, or keys and items of its own; -1 for none.
	below int
	// after tells that a secret may go on with what is no key or item of its own.
	after bool
}

// dropFurtherLines leaves them out, rather too many than too few: the file may be
// faulty, and how lines are indented means nothing in quotes and braces.
func dropFurtherLines(src string) string {
	f := further{
		// A line that begins with a colon is the value of a key above it.
		key:   regexp.MustCompile(`(?i)(?:^|[\s{,\[])(` + secretKey + `|["']?\bvalue["']?)\s*:[ \t]*|^\s*():[ \t]+`),
		own:   regexp.MustCompile(`^\s*(-\s|[\w-]+\s*:(\s|$)|"[\w-]+"\s*:|'[\w-]+'\s*:|\?\s|:\s)`),
		below: -1,
	}
	var out strings.Builder
	for line := range strings.Lines(src) {
		if f.belongs(line) {
			line = line[:depth(line)] + leftOut + "\n"
		}
		out.WriteString(line)
	}
	return out.String()
}

func depth(line string) int { return len(line) - len(strings.TrimLeft(line, " \t")) }

// belongs tells whether a line is part of a secret that began above it.
func (f *further) belongs(line string) bool {
	text := strings.TrimSpace(line)
	if f.quote != 0 {
		if end := closing(line, f.quote); end >= 0 {
			f.quote = 0
			f.begin(line[end:])
		}
		return text != ""
	}
	deep := depth(line)
	switch {
	case text == "":
		return false
	case f.below >= 0 && (deep > f.below || deep == f.below && strings.HasPrefix(text, "- ")):
		return true
	case text[0] == '#':
		return false
	}
	f.below = -1
	if f.after && !f.own.MatchString(line) {
		return true
	}
	f.after = false
	f.begin(line)
	return false
}

// begin looks for secrets that begin in the line and may go on below it.
func (f *further) begin(line string) {
	for _, at := range f.key.FindAllStringSubmatchIndex(line, -1) {
		name, value := "", strings.TrimSpace(line[at[1]:])
		f.below, f.after = depth(line), true
		if at[2] >= 0 {
			name = line[at[2]:at[3]]
			if strings.Trim(line[:at[2]], " \t-?") == "" {
				f.below = at[2]
			}
		}
		if value != "" && (value[0] == '"' || value[0] == '\'') && closing(value[1:], value[0]) < 0 {
			f.quote = value[0]
			return
		}
		whole := value != "" && !strings.ContainsRune("#|>[{!&", rune(value[0]))
		if whole || strings.EqualFold(strings.Trim(name, `"'`), "webhooks") {
			f.below = -1
		}
	}
}

// closing is where a text in quotes ends that goes on with s, -1 where it does not.
func closing(s string, quote byte) int {
	text := regexp.MustCompile(`^(?:[^"\\]|\\.)*(")`)
	if quote == '\'' {
		text = regexp.MustCompile(`^(?:[^']|'')*(')(?:[^']|$)`)
	}
	if at := text.FindStringSubmatchIndex(s); at != nil {
		return at[3]
	}
	return -1
}

// redactProblems is redact for what is said about a garden file's faults, which
// quotes what was found at a key; where the file is no YAML, or a key of a header
// is unknown, that may be a piece of a secret.
func redactProblems(text string) string {
	found := regexp.MustCompile(`(?im)^(.*?:\d+:\d+: (?:warning: )?(?:\S*(?:` + secretKey + `|\bvalue|\.headers\.\d+): |not YAML: |tags and directives ).*?found )"(?:[^"\\\n]|\\.)*"`)
	return redact(found.ReplaceAllString(text, "${1}"+leftOut))
}
