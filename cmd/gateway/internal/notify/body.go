package notify

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"text/template/parse"

	"github.com/DataDog/datadog-agent/pkg/template/text"
)

// mostBody bounds what a template may write.
const mostBody = 64 << 10

// body is a template that a gardener wrote. It is Go's, but that methods are
// looked up in a table and not by name among all that the program holds: a
// program that does the latter can leave out no method of any library, which
// made it a fifth larger.
type body struct{ t *template.Template }

// newBody reads a template. Its errors name file and line, most the column too.
func newBody(name, text string) (*body, error) {
	t, err := template.New(name).Option("missingkey=error").Funcs(template.FuncMap{"json": asJSON}).Parse(text)
	if err != nil {
		return nil, err
	}
	// Only now, so that no template calls them as functions.
	t.Funcs(methods())
	for _, part := range t.Templates() {
		if part.Tree != nil {
			callMethods(part.Tree.Root)
		}
	}
	return &body{t}, nil
}

// write fills the template in.
func (b *body) write(m *Message) ([]byte, error) {
	var out bytes.Buffer
	if err := b.t.Execute(&bounded{&out, mostBody}, m); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// bounded refuses to be written more than so many bytes.
type bounded struct {
	to   io.Writer
	left int
}

func (b *bounded) Write(p []byte) (int, error) {
	if b.left -= len(p); b.left < 0 {
		return 0, fmt.Errorf("longer than %d bytes", mostBody)
	}
	return b.to.Write(p)
}

// callMethods writes each call of a method below a node as one of a function
// that takes the receiver first: {{.At.Format "15:04"}} as {{Format .At "15:04"}}.
func callMethods(n parse.Node) {
	switch n := n.(type) {
	case *parse.ListNode:
		if n != nil {
			for _, x := range n.Nodes {
				callMethods(x)
			}
		}
	case *parse.ActionNode:
		callMethods(n.Pipe)
	case *parse.TemplateNode:
		callMethods(n.Pipe)
	case *parse.IfNode:
		branch(&n.BranchNode)
	case *parse.RangeNode:
		branch(&n.BranchNode)
	case *parse.WithNode:
		branch(&n.BranchNode)
	case *parse.PipeNode:
		if n != nil {
			for _, c := range n.Cmds {
				command(c)
			}
		}
	}
}

func branch(n *parse.BranchNode) {
	callMethods(n.Pipe)
	callMethods(n.List)
	callMethods(n.ElseList)
}

// command rewrites one call. A method in the first place takes the arguments
// after it, and the value piped to it.
func command(c *parse.CommandNode) {
	for i, a := range c.Args {
		c.Args[i] = operand(a)
	}
	if made, ok := c.Args[0].(*parse.PipeNode); ok && isCall(made) {
		c.Args = append(slices.Clip(made.Cmds[0].Args), c.Args[1:]...)
	}
}

// isCall tells a method's call that was made here from a template's own
// brackets, whose line is counted from 1.
func isCall(p *parse.PipeNode) bool { return p.Line == 0 }

// operand is a node with the methods in its chain of names made calls, or the
// node itself where there are none.
func operand(n parse.Node) parse.Node {
	switch n := n.(type) {
	case *parse.PipeNode:
		callMethods(n)
	case *parse.FieldNode:
		if i := slices.IndexFunc(n.Ident, isMethod); i > 0 {
			return chain(&parse.FieldNode{NodeType: parse.NodeField, Pos: n.Pos, Ident: n.Ident[:i]}, n.Ident[i:])
		} else if i == 0 {
			return chain(&parse.DotNode{NodeType: parse.NodeDot, Pos: n.Pos}, n.Ident)
		}
	case *parse.VariableNode:
		if i := slices.IndexFunc(n.Ident, isMethod); i > 0 {
			return chain(&parse.VariableNode{NodeType: parse.NodeVariable, Pos: n.Pos, Ident: n.Ident[:i]}, n.Ident[i:])
		}
	case *parse.ChainNode:
		n.Node = operand(n.Node)
		if i := slices.IndexFunc(n.Field, isMethod); i > 0 {
			return chain(&parse.ChainNode{NodeType: parse.NodeChain, Pos: n.Pos, Node: n.Node, Field: n.Field[:i]}, n.Field[i:])
		} else if i == 0 {
			return chain(n.Node, n.Field)
		}
	}
	return n
}

func isMethod(name string) bool { return methods()[name] != nil }

// chain follows names, of which the first is a method, from a receiver.
func chain(from parse.Node, names []string) parse.Node {
	at := from
	for _, name := range names {
		if isMethod(name) {
			call := &parse.CommandNode{NodeType: parse.NodeCommand, Pos: from.Position(), Args: []parse.Node{parse.NewIdentifier(name).SetPos(from.Position()), at}}
			at = &parse.PipeNode{NodeType: parse.NodePipe, Pos: from.Position(), Cmds: []*parse.CommandNode{call}}
		} else if c, ok := at.(*parse.ChainNode); ok {
			c.Field = append(c.Field, name)
		} else {
			at = &parse.ChainNode{NodeType: parse.NodeChain, Pos: from.Position(), Node: at, Field: []string{name}}
		}
	}
	return at
}
