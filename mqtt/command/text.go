package command

import "strings"

// valid drops what is no UTF-8, such as a letter cut in two.
func valid(s string) string { return strings.ToValidUTF8(s, "") }
