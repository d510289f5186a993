package config

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"fabricpot/cmd/gateway/internal/units"
	"fabricpot/control/garden"
)

// Load reads a garden file. name is what messages call it. The error, if any,
// is a Problems with everything that is wrong; the garden is then nil. The
// source is never nil and carries warnings and positions.
func Load(name string, src []byte) (*garden.Garden, *Source, error) {
	r := &reader{
		src:     &Source{Name: name, places: map[string]place{}, aliases: map[string]string{}},
		unsound: map[string]bool{},
		clashed: map[string]bool{},
	}
	root, ok := r.parse(src)
	if !ok {
		return nil, r.src, r.failed()
	}
	d := newDraft()
	gardenTable().read(r, root, "", &d)
	g := r.link(&d)
	r.check(g, &d)
	r.src.Warnings.sort()
	r.src.Reads = units.ReadsAs(r.written)
	if len(r.problems) > 0 {
		return nil, r.src, r.failed()
	}
	return g, r.src, nil
}

// ReadFile reads a garden file's text: of one that is too large, such as the image
// of a whole card, only as much as is enough for Load to refuse it. What is no file
// is an error, since a named pipe or a device may keep its reader waiting for ever;
// but for what the program was started with open, as standard input.
func ReadFile(path string) ([]byte, error) {
	src, err := func() ([]byte, error) {
		given := isGiven(path)
		st, err := os.Stat(path)
		if err == nil && !given {
			err = expectFile(path, st)
		}
		if err != nil {
			return nil, err
		}
		wait := syscall.O_NONBLOCK // it may have become a pipe meanwhile
		if given {
			wait = 0
		}
		f, err := os.OpenFile(path, os.O_RDONLY|wait, 0)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		if st, err = f.Stat(); err == nil && !given {
			err = expectFile(path, st)
		}
		if err != nil {
			return nil, err
		}
		return io.ReadAll(io.LimitReader(f, maxBytes+1))
	}()
	if errors.Is(err, fs.ErrNotExist) {
		err = fmt.Errorf("%w; look at its name and folder, or begin with the example that comes with the program", err)
	}
	if err != nil {
		return nil, fmt.Errorf("garden file: %w", err)
	}
	return src, nil
}

// expectFile is nil for a file, to which a link may have led.
func expectFile(path string, st fs.FileInfo) error {
	kind := "something else"
	switch st.Mode().Type() {
	case 0:
		return nil
	case fs.ModeDir:
		kind = "a directory"
	case fs.ModeNamedPipe:
		kind = "a named pipe"
	case fs.ModeSocket:
		kind = "a socket"
	case fs.ModeDevice, fs.ModeDevice | fs.ModeCharDevice:
		kind = "a device"
	}
	return fmt.Errorf("%s is %s; expected a file, or a link to one", path, kind)
}

// isGiven tells that a path names what the program was started with open.
func isGiven(path string) bool {
	dir, name := filepath.Split(filepath.Clean(path))
	switch dir {
	case "/dev/":
		return name == "stdin"
	case "/dev/fd/", "/proc/self/fd/":
		return true
	}
	return false
}

func (r *reader) failed() error {
	r.problems.sort()
	return r.problems
}

func (r *reader) faults(fs ...fault) {
	for _, f := range fs {
		r.sayAt(f.at, "", f.what, f.found, f.expected)
	}
}

// parse screens the text and returns the root of its syntax tree.
func (r *reader) parse(src []byte) (ast.Node, bool) {
	clean, f := screenBytes(src)
	if f != nil {
		r.faults(*f)
		return nil, false
	}
	var tokens token.Tokens
	if err := guarded(func() error { tokens = lexer.Tokenize(string(clean)); return nil }); err != nil {
		r.faults(syntax(err))
		return nil, false
	}
	if fs := screenTokens(tokens); len(fs) > 0 {
		r.faults(fs...)
		return nil, false
	}
	var file *ast.File
	err := guarded(func() (err error) {
		file, err = parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
		return err
	})
	if err != nil {
		r.faults(syntax(err))
		return nil, false
	}
	for _, doc := range file.Docs {
		if doc.Body != nil {
			return doc.Body, true
		}
	}
	r.faults(fault{place{1, 1}, "an empty garden file", "", "KEY: VALUE lines, beginning with site"})
	return nil, false
}

// guarded turns a panic of lexer or parser into an error: both are someone
// else's and meet hostile text.
func guarded(f func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = errors.New("the parser gave up on this file")
		}
	}()
	return f()
}

func syntax(err error) fault {
	f := fault{place{1, 1}, "not YAML: " + err.Error(), "", "KEY: VALUE lines"}
	var e *yaml.SyntaxError
	if errors.As(err, &e) {
		f.what = "not YAML: " + e.GetMessage()
		if t := e.GetToken(); t != nil && t.Position != nil {
			f.at = at(t)
			f.found = quote(t.Value)
		}
		if strings.Contains(e.GetMessage(), "'\t'") {
			f.what, f.found, f.expected = "a tab can't indent", "", "spaces, as many as the lines beside it have"
		}
	}
	return f
}
