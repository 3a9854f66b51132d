package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"slices"
	"strconv"
	"strings"
)

// mutant is one change to one file.
type mutant struct {
	number   int
	file     string
	line     int
	what     string
	constant *ast.BasicLit // set for a named constant
}

func (m mutant) String() string { return fmt.Sprintf("%s:%d: %s", m.file, m.line, m.what) }

// source is one file with the places where it can be changed.
type source struct {
	name    string
	text    string
	set     *token.FileSet
	places  []place
	mutants []mutant
}

// place is a stretch of the source that is rewritten so that a number chosen
// at run time changes what it does.
type place struct {
	from, to int
	write    func(s *source) string
}

// flips are the comparisons that differ at the limit only, or by negation.
var flips = map[token.Token]token.Token{
	token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR,
	token.EQL: token.NEQ, token.NEQ: token.EQL,
}

// swaps are the methods of a finding that differ at the limit only, or by
// negation.
var swaps = map[string]string{
	"below": "atMost", "atMost": "below", "above": "atLeast", "atLeast": "above", "yes": "no", "no": "yes",
}

// counted are keys of composite literals, and functions, whose number is a
// limit or a weight.
var counted = []string{"points", "upTo", "taken", "nodes"}

// read parses a file and finds its mutants, numbered from first.
func read(name string, first int) (*source, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("reading rule file: %w", err)
	}
	s := &source{name: name, text: string(text), set: token.NewFileSet()}
	tree, err := parser.ParseFile(s.set, name, text, 0)
	if err != nil {
		return nil, fmt.Errorf("parsing rule file: %w", err)
	}
	next := func(at token.Pos, what string) int {
		number := first + len(s.mutants)
		s.mutants = append(s.mutants, mutant{number: number, file: name, line: s.set.Position(at).Line, what: what})
		return number
	}
	ast.Inspect(tree, func(n ast.Node) bool {
		s.visit(n, next)
		return true
	})
	return s, nil
}

func (s *source) visit(n ast.Node, next func(token.Pos, string) int) {
	switch n := n.(type) {
	case *ast.BinaryExpr:
		if to, ok := flips[n.Op]; ok {
			s.comparison(n, to, next(n.OpPos, n.Op.String()+" becomes "+to.String()))
		}
	case *ast.CallExpr:
		s.call(n, next)
	case *ast.KeyValueExpr:
		key, named := n.Key.(*ast.Ident)
		if number, ok := n.Value.(*ast.BasicLit); ok && named && slices.Contains(counted, key.Name) {
			s.weight(number, key.Name, next)
		}
	case *ast.GenDecl:
		s.constants(n, next)
	}
}

func (s *source) comparison(n *ast.BinaryExpr, to token.Token, number int) {
	s.places = append(s.places, place{s.offset(n.Pos()), s.offset(n.End()), func(s *source) string {
		left, right := s.between(n.X.Pos(), n.X.End()), s.between(n.Y.Pos(), n.Y.End())
		return fmt.Sprintf("mutantBool(%d, %s %s %s, %s %s %s)", number, left, n.Op, right, left, to, right)
	}})
}

// call swaps a method of a finding and moves its limit.
func (s *source) call(n *ast.CallExpr, next func(token.Pos, string) int) {
	if name, ok := n.Fun.(*ast.Ident); ok && slices.Contains(counted, name.Name) && len(n.Args) > 0 {
		if number, ok := n.Args[0].(*ast.BasicLit); ok {
			s.weight(number, name.Name, next)
		}
		return
	}
	method, ok := n.Fun.(*ast.SelectorExpr)
	if !ok || swaps[method.Sel.Name] == "" {
		return
	}
	from, to := method.Sel.Name, swaps[method.Sel.Name]
	number := next(n.Pos(), from+" becomes "+to)
	moves := 0
	if len(n.Args) == 1 {
		if literal, ok := n.Args[0].(*ast.BasicLit); ok {
			moves = next(literal.Pos(), from+" "+literal.Value+" becomes one more")
		}
	}
	s.places = append(s.places, place{s.offset(n.Pos()), s.offset(n.End()), func(s *source) string {
		receiver, argument := s.between(method.X.Pos(), method.X.End()), ""
		if len(n.Args) == 1 {
			argument = s.between(n.Args[0].Pos(), n.Args[0].End())
		}
		if moves > 0 {
			argument = fmt.Sprintf("mutantMove(%d, float64(%s))", moves, argument)
		}
		return fmt.Sprintf("mutantFact(%d, func() fact { return %s.%s(%s) }, func() fact { return %s.%s(%s) })",
			number, receiver, from, argument, receiver, to, argument)
	}})
}

// weight moves a number of points or the end of a group.
func (s *source) weight(n *ast.BasicLit, name string, next func(token.Pos, string) int) {
	number := next(n.Pos(), name+" "+n.Value+" becomes one more")
	s.places = append(s.places, place{s.offset(n.Pos()), s.offset(n.End()), func(*source) string {
		return fmt.Sprintf("mutantMove(%d, %s)", number, n.Value)
	}})
}

// constants notes the numbers that are declared as constants.
func (s *source) constants(n *ast.GenDecl, next func(token.Pos, string) int) {
	if n.Tok != token.CONST {
		return
	}
	for _, spec := range n.Specs {
		value, ok := spec.(*ast.ValueSpec)
		if !ok {
			continue
		}
		for i, v := range value.Values {
			if number, ok := v.(*ast.BasicLit); ok && number.Kind != token.STRING {
				next(number.Pos(), value.Names[i].Name+" "+number.Value+" becomes one more")
				s.mutants[len(s.mutants)-1].constant = number
			}
		}
	}
}

func (s *source) offset(p token.Pos) int { return s.set.Position(p).Offset }

// between writes a stretch of the source with every place in it rewritten.
func (s *source) between(from, to token.Pos) string { return s.rewrite(s.offset(from), s.offset(to)) }

// rewrite copies a stretch of the source and rewrites the outermost places in
// it; inner ones are written by the outer.
func (s *source) rewrite(from, to int) string {
	var out strings.Builder
	for at := from; at < to; {
		p := s.outermost(at, to)
		if p == nil {
			out.WriteString(s.text[at:to])
			break
		}
		out.WriteString(s.text[at:p.from])
		out.WriteString(p.write(s))
		at = p.to
	}
	return out.String()
}

// outermost is the first place from at on, the longest where several begin
// together.
func (s *source) outermost(at, to int) *place {
	var best *place
	for i := range s.places {
		p := &s.places[i]
		if p.from < at || p.to > to {
			continue
		}
		if best == nil || p.from < best.from || p.from == best.from && p.to > best.to {
			best = p
		}
	}
	return best
}

// withConstant is the source with one constant moved.
func (s *source) withConstant(m mutant) string {
	v, err := strconv.ParseFloat(m.constant.Value, 64)
	if err != nil {
		return s.text
	}
	at := s.offset(m.constant.Pos())
	return s.text[:at] + strconv.FormatFloat(v+1, 'f', -1, 64) + s.text[at+len(m.constant.Value):]
}
