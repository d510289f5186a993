package notify

import (
	"bytes"
	"reflect"
	"testing"
	"text/template"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestBodyIsGosTemplate holds what a body template writes against Go's own
// text/template, which is what is promised: https://pkg.go.dev/text/template.
func TestBodyIsGosTemplate(t *testing.T) {
	athens, err := time.LoadLocation("Europe/Athens")
	require.NoError(t, err)
	m := sample(t)
	m.At = time.Date(2026, 7, 31, 21, 4, 5, 678_900_000, athens)
	for i := range m.Alarms {
		m.Alarms[i].Since = m.At.Add(-time.Duration(i+1) * 37 * time.Minute)
	}
	m.Alarms[0].About = `"pot" <1> & 2`
	whole := func(text string) ([]byte, error) {
		std, err := template.New("body").Option("missingkey=error").Funcs(template.FuncMap{"json": asJSON}).Parse(text)
		if err != nil {
			return nil, err
		}
		var b bytes.Buffer
		err = std.Execute(&b, m)
		return b.Bytes(), err
	}
	for _, text := range []string{
		`plain`, `{{.}}`, `{{/* a note */ -}}  x  {{- " y"}}`,
		`{"line": {{json .Title}}, "ring": {{if .Serious}}"loud"{{else}}"soft"{{end}}}`,
		`{{range $i, $a := .Alarms}}{{if $i}}, {{end}}{{$a.Name}} ({{$a.About}}) {{$a.State}}: {{.What}} {{.Next | json}} {{.Told}}{{else}}none{{end}}`,
		`{{with .Alarms}}{{len .}} {{(index . 0).Name}} {{(index . 0).Since.Hour}}{{end}}`,
		`{{define "one"}}<{{.Name}} {{.Since.Format "15:04"}}>{{end}}{{range .Alarms}}{{template "one" .}}{{end}}`,
		`{{block "two" .At}}{{.Year}}-{{.Month}}-{{.Day}}{{end}}`,
		`{{printf "%-12s|%d|%v|%5.1f" .Garden .Standing .Serious 2.5}} {{print 1 "a" 2}} {{println .Name}}`,
		`{{html (index .Alarms 0).About}} {{js (index .Alarms 0).About}} {{urlquery .Title}} {{slice .Title 0 3}}`,
		`{{if and .Serious (gt .Standing 0) (not .ClockConfirmed)}}a{{else if or (eq .Kind "alarm" "self-test") (ne .Name "x")}}b{{end}}`,
		`{{range .Alarms}}{{if not .Active}}{{continue}}{{end}}{{.Name}}{{break}}{{end}}`,
		`{{range .Alarms}}{{.Active}} {{if and .Active .Serious}}!{{end}}{{end}}`,
		`{{$n := 0}}{{range .Alarms}}{{$n = .Told}}{{end}}{{$n}} {{range $k := 3}}{{$k}}{{end}}`,
		// Times, and what comes of them.
		`{{.At}} {{.At.Format "2006-01-02T15:04:05Z07:00"}} {{.At.UTC.Format "15:04"}} {{json .At}}`,
		`{{.At.Unix}} {{.At.UnixMilli}} {{.At.UnixMicro}} {{.At.UnixNano}} {{.At.UTC}} {{.At.IsZero}} {{.At.IsDST}}`,
		`{{.At.Year}} {{.At.Month}} {{printf "%02d" .At.Month}} {{.At.Day}} {{.At.Weekday}} {{.At.YearDay}} {{.At.Hour}}:{{.At.Minute}}:{{.At.Second}}.{{.At.Nanosecond}}`,
		`{{.At.Month.String}} {{.At.Weekday.String | printf "%q"}} {{.At.Location}} {{.At.Location.String}} {{.At.GoString}} {{printf "%s %s" .At.MarshalText .At.MarshalJSON}}`,
		`{{with $t := .At}}{{$t.Format "Mon"}} {{.Format "Jan"}} {{$.At.Format "2"}} {{"15:04" | .Format}} {{"06" | $.At.UTC.Format}}{{end}}`,
		`{{range .Alarms}}{{($.At.Sub .Since).Hours}} {{($.At.Sub .Since).String}} {{printf "%.0f" ($.At.Sub .Since).Minutes}} {{with $.At.Sub .Since}}{{.Seconds}} {{.Milliseconds}} {{.Microseconds}} {{.Nanoseconds}} {{.Round 3600000000000}} {{.Truncate 60000000000}} {{.Abs}} {{.}}{{end}} {{.Since.Before $.At}} {{.Since.After $.At}} {{.Since.Equal $.At}} {{.Since.Compare $.At}}{{end}}`,
		`{{(.At.Round 3600000000000).Format "15:04"}} {{(.At.Truncate 86400000000000).Unix}} {{(.At.Add 90000000000).Second}} {{(.At.AddDate 0 1 1).Format "2 Jan"}} {{(.At.In .At.UTC.Location).Hour}} {{.At.Local.Unix}}`,
		`{{if .At.IsZero}}never{{else if .At.After (index .Alarms 0).Since}}{{printf "%s" ((index .Alarms 0).Since.Format "15:04" | printf "since %s")}}{{end}}`,
		`{{(((.At).UTC).AddDate 1 0 0).Year}} {{$m := .At.Month}}{{$m.String}} {{len (.At.Format "January")}}`,
		`{{define "t"}}{{.Format "15h"}}{{end}}{{template "t" .At}} {{template "t" .At.UTC}}`,
	} {
		want, err := whole(text)
		require.NoError(t, err, text)
		b, err := newBody("body", text)
		require.NoError(t, err, text)
		for range 2 { // it is written again and again
			got, err := b.write(m)
			require.NoError(t, err, text)
			assert.Equal(t, string(want), string(got), text)
		}
	}
	// What Go refuses is refused, and said where.
	for text, place := range map[string]string{
		"a\n{{.Titel}}":                            "body:2:2:",
		"a\n\n b {{.At.Formt `15:04`}}":            "body:3:8:",
		"{{.Titel.Format `15:04`}}":                "body:1:8:",
		"a\n {{.Title.Format `15:04`}}":            "body:2:9:",
		"{{.At.Format}}":                           "body:1:",
		"a\n{{.At.Format `15` `04`}}":              "body:2:",
		"{{.At.Format 3}}":                         "body:1:13:",
		"{{.Format `15:04`}}":                      "body:1:",
		"{{.Active}}":                              "body:1:",
		"{{Format .At `15:04`}}":                   "body:1:",
		"{{range .Alarms}}{{.Since.Hours}}{{end}}": "body:1:",
		"{{.At.Year.String}}":                      "body:1:",
		"{{.Title.Round 3}}":                       "body:1:",
		"{{(.At.Sub .At).Truncate .At}}":           "body:1:",
		"{{(.At.UTC) `x`}}":                        "body:1:",
		"{{.At.UTC.Name}}":                         "body:1:",
		"{{.At.Unix.Name.Format `x`}}":             "body:1:",
		"{{.At.Clock}}":                            "body:1:",
		"{{shell .Title}}":                         "body:1:",
		"\n{{if .Title}}":                          "body:2:",
		"{{.Title":                                 "body:1:",
		"{{template `none`}}":                      "body:1:",
		"{{call .At.Format `x`}}":                  "body:1:",
	} {
		_, err := whole(text)
		require.Error(t, err, text)
		b, err := newBody("body", text)
		if err == nil {
			_, err = b.write(m)
		}
		assert.ErrorContains(t, err, place, text)
	}
}

// TestNoMethodHidesAField: names are told apart by themselves alone.
func TestNoMethodHidesAField(t *testing.T) {
	for _, x := range []any{Message{}, Item{}} {
		for i := range reflect.TypeOf(x).NumField() {
			assert.False(t, isMethod(reflect.TypeOf(x).Field(i).Name), reflect.TypeOf(x).Field(i).Name)
		}
	}
	// And whatever a message and its alarms can be asked is in the table.
	for _, x := range []any{&Message{}, &Item{}} {
		for i := range reflect.TypeOf(x).NumMethod() {
			assert.True(t, isMethod(reflect.TypeOf(x).Method(i).Name), reflect.TypeOf(x).Method(i).Name)
		}
	}
}
