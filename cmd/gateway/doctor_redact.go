package main

import "regexp"

// leftOut stands for a secret.
const leftOut = "(left out)"

// redact takes secrets out of a garden file's text, valid or not: whatever
// stands behind a key that names one, user and password in addresses, and where
// the garden is, which is somebody's home.
func redact(src string) string {
	// A value ends at the line's end, in braces also at a comma or brace.
	secret := regexp.MustCompile(`(?i)(["']?[\w-]*(?:password|passwd|secret|token|webhook|credential|api-?key|post-to|user|latitude|longitude|\blat\b|\blon\b)[\w-]*["']?\s*:[ \t]*)("[^"\n]*"|'[^'\n]*'|[^,}\n#]*[^,}\n#\s]|)`)
	src = secret.ReplaceAllString(src, "${1}"+leftOut)
	userinfo := regexp.MustCompile(`(://)[^/\s@"']+@`)
	src = userinfo.ReplaceAllString(src, "${1}"+leftOut+"@")
	// Addresses are somebody's, wherever they stand.
	address := regexp.MustCompile(`[\w.+-]+@[\w-]+(?:\.[\w-]+)+`)
	return address.ReplaceAllString(src, leftOut)
}
