package main

import (
	"regexp"
	"strings"
)

// leftOut stands for a secret.
const leftOut = "(left out)"

// secretKey is a key that names a secret, or where somebody lives.
const secretKey = `["']?[\w-]*(?:password|passwd|secret|token|webhook|credential|api-?key|post-to|user|latitude|longitude|\blat\b|\blon\b)[\w-]*["']?`

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

// dropFurtherLines leaves out the lines that a secret's text takes besides its
// key's: those that stand deeper and, but in a block of text, are no keys, items
// or comments of their own.
func dropFurtherLines(src string) string {
	key := regexp.MustCompile(`(?i)^(\s*(?:-\s+)*)(?:.*[{,]\s*)?(?:` + secretKey + `|["']?value["']?)\s*:[ \t]*([|>])?`)
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
// quotes what was found at a key; where the file is no YAML, or a key of a header
// is unknown, that may be a piece of a secret.
func redactProblems(text string) string {
	found := regexp.MustCompile(`(?im)^(.*?:\d+:\d+: (?:warning: )?(?:\S*(?:` + secretKey + `|\bvalue|\.headers\.\d+): |not YAML: |tags and directives ).*?found )"(?:[^"\\\n]|\\.)*"`)
	return redact(found.ReplaceAllString(text, "${1}"+leftOut))
}
