package main

import (
	"regexp"
	"strings"
)

// leftOut stands for a secret.
const leftOut = "(left out)"

const (
	// secretKey is a key that names a secret, or where somebody lives.
	secretKey = `["']?[\w-]*(?:password|passwd|secret|token|webhook|credential|api-?key|post-to|user|latitude|longitude|\blat\b|\blon\b)[\w-]*["']?`
	// A value ends at the line's end, in braces also at a comma or brace.
	scalarValue = `("[^"\n]*"|'[^'\n]*'|[^,}\n#]*[^,}\n#\s]|)`
)

// redact takes secrets out of a text: whatever stands behind a key that names
// one, user and password in addresses, and where the garden is, which is
// somebody's home.
func redact(src string) string {
	src = regexp.MustCompile(`(?i)(`+secretKey+`\s*:[ \t]*)`+scalarValue).ReplaceAllString(src, "${1}"+leftOut)
	userinfo := regexp.MustCompile(`(://)[^/\s@"']+@`)
	src = userinfo.ReplaceAllString(src, "${1}"+leftOut+"@")
	// Addresses are somebody's, wherever they stand.
	address := regexp.MustCompile(`[\w.+-]+@[\w-]+(?:\.[\w-]+)+`)
	return address.ReplaceAllString(src, leftOut)
}

// redactGarden is redact for a garden file, valid or not. There a "value" is a
// header's, which may be a secret that belonged into a file, and a secret may go
// on for lines.
func redactGarden(src string) string {
	src = dropFurtherLines(src)
	src = regexp.MustCompile(`(?i)(["']?\bvalue["']?\s*:[ \t]*)`+scalarValue).ReplaceAllString(src, "${1}"+leftOut)
	return redact(src)
}

// dropFurtherLines leaves out the lines that a secret's text takes besides its
// key's: those that stand deeper and, but in a block of text, are no keys, items
// or comments of their own.
func dropFurtherLines(src string) string {
	key := regexp.MustCompile(`(?i)^(\s*(?:-\s+)*)(?:` + secretKey + `|["']?value["']?)\s*:[ \t]*([|>])?`)
	own := regexp.MustCompile(`^\s*(#|$|-\s|[\w-]+\s*:(\s|$)|"[\w-]+"\s*:|'[\w-]+'\s*:)`)
	var out strings.Builder
	indent, block := -1, false
	for line := range strings.Lines(src) {
		deep := len(line) - len(strings.TrimLeft(line, " \t"))
		if blank := strings.TrimSpace(line) == ""; indent >= 0 && (deep > indent || blank) {
			if blank {
				out.WriteString(line)
				continue
			}
			if block || !own.MatchString(line) {
				out.WriteString(line[:deep] + leftOut + "\n")
				continue
			}
		}
		indent = -1
		if m := key.FindStringSubmatch(line); m != nil {
			indent, block = len(m[1]), m[2] != ""
		}
		out.WriteString(line)
	}
	return out.String()
}

// redactProblems is redact for what is said about a garden file's faults, which
// quotes what was found at a key.
func redactProblems(text string) string {
	found := regexp.MustCompile(`(?im)^([^\s:]+:\d+:\d+: \S*(?:` + secretKey + `|\bvalue): .*?found )"(?:[^"\\\n]|\\.)*"`)
	return redact(found.ReplaceAllString(text, "${1}"+leftOut))
}
