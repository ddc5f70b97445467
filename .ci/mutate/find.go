package main

import (
	"fmt"
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"strings"
)

// finder walks a file and notes each change that can be made in it, with the edits that build it in.
type finder struct {
	*source
	room    string
	path    string
	fn      string
	stack   []ast.Node
	mutants []*mutant
	edits   map[string][]edit
	order   int
	consts  map[types.Object]*mutant // of this package: the first of the two mutants of each
	skip    map[ast.Node]bool
}

func find(s *source, r room) *finder {
	f := &finder{source: s, room: r.name, edits: map[string][]edit{}, consts: map[types.Object]*mutant{}, skip: map[ast.Node]bool{}}
	wanted := map[string]bool{}
	for _, n := range r.files {
		wanted[r.dir+"/"+n] = true
	}
	var files []*ast.File
	for _, file := range s.files {
		if path := s.fset.Position(file.Pos()).Filename; len(wanted) == 0 || wanted[path] {
			files = append(files, file)
		}
	}
	for _, file := range files {
		f.declared(file)
	}
	for _, file := range files {
		f.path = s.fset.Position(file.Pos()).Filename
		ast.Inspect(file, f.visit)
	}
	return f
}

// declared notes the numeric constants of a file: a place that uses one uses the mutant's value.
func (f *finder) declared(file *ast.File) {
	f.path = f.fset.Position(file.Pos()).Filename
	for _, d := range file.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		for _, spec := range g.Specs {
			v := spec.(*ast.ValueSpec)
			if len(v.Values) != len(v.Names) {
				continue // an enumeration
			}
			for i, name := range v.Names {
				obj := f.info.Defs[name]
				if a, b := f.others(obj.(*types.Const).Val(), obj.Type()); a != "" && !usesIota(v.Values[i]) {
					f.consts[obj] = f.note(v, name.Name+" = "+f.src(v.Values[i]), a, b)
				}
			}
		}
	}
}

func usesIota(e ast.Expr) bool {
	found := false
	ast.Inspect(e, func(n ast.Node) bool {
		id, ok := n.(*ast.Ident)
		found = found || ok && id.Name == "iota"
		return true
	})
	return found
}

// others names the two values that a number is changed to; "" where it is none.
func (f *finder) others(v constant.Value, t types.Type) (string, string) {
	basic, ok := t.Underlying().(*types.Basic)
	switch {
	case !ok:
		return "", ""
	case basic.Info()&types.IsInteger != 0:
		return "plus one", "minus one"
	case basic.Info()&types.IsFloat != 0 && constant.Sign(constant.ToFloat(v)) == 0:
		return "one", "minus one"
	case basic.Info()&types.IsFloat != 0:
		return "doubled", "zero"
	}
	return "", ""
}

// value writes a changed number.
func value(text, change string) string {
	return map[string]string{
		"plus one": "(" + text + ") + 1", "minus one": "(" + text + ") - 1", "one": "1", "doubled": "2 * (" + text + ")", "zero": "0",
	}[change]
}

func (f *finder) src(n ast.Node) string {
	return string(f.text[f.path][f.at(n.Pos()):f.at(n.End())])
}

func (f *finder) at(p token.Pos) int { return f.fset.Position(p).Offset }

// note enters one mutant for each change, with ids that follow one another, and returns the first.
func (f *finder) note(n ast.Node, text string, changes ...string) *mutant {
	var first *mutant
	for _, c := range changes {
		m := &mutant{
			id: len(f.mutants) + 1, room: f.room, file: f.path, line: f.fset.Position(n.Pos()).Line,
			fn: f.fn, text: clip(text), change: c,
		}
		if first == nil {
			first = m
		}
		f.mutants = append(f.mutants, m)
	}
	return first
}

// around puts text before and behind a node, for a mutant.
func (f *finder) around(n ast.Node, m *mutant, before, behind string) {
	f.put(f.at(n.Pos()), f.at(n.Pos()), fmt.Sprintf(before, m.id), false, m)
	f.put(f.at(n.End()), f.at(n.End()), behind, true, m)
}

func (f *finder) put(from, to int, text string, closing bool, m *mutant) {
	f.order++
	f.edits[f.path] = append(f.edits[f.path], edit{from: from, to: to, text: text, closing: closing, order: f.order, site: m.id})
}

// replace puts text in the place of an operator.
func (f *finder) replace(at token.Pos, length int, text string, m *mutant) {
	f.put(f.at(at), f.at(at)+length, text, false, m)
}

// parent is the node above the one visited.
func (f *finder) parent(up int) ast.Node {
	if len(f.stack) <= up {
		return nil
	}
	return f.stack[len(f.stack)-1-up]
}

func (f *finder) visit(n ast.Node) bool {
	if n == nil {
		if d, ok := f.stack[len(f.stack)-1].(*ast.FuncDecl); ok && d != nil {
			f.fn = ""
		}
		f.stack = f.stack[:len(f.stack)-1]
		return true
	}
	if f.skip[n] {
		return false
	}
	if g, ok := n.(*ast.GenDecl); ok && (g.Tok == token.CONST || g.Tok == token.TYPE || g.Tok == token.IMPORT) {
		return false
	}
	if d, ok := n.(*ast.FuncDecl); ok {
		f.fn = name(d)
	}
	f.stack = append(f.stack, n)
	f.change(n)
	return true
}

func name(d *ast.FuncDecl) string {
	if d.Recv == nil || len(d.Recv.List) == 0 {
		return d.Name.Name
	}
	t := types.ExprString(d.Recv.List[0].Type)
	return strings.TrimPrefix(t, "*") + "." + d.Name.Name
}

// change notes what can be made of one node.
func (f *finder) change(n ast.Node) {
	switch n := n.(type) {
	case *ast.IfStmt:
		f.condition(n.Cond)
	case *ast.ForStmt:
		f.loop(n)
	case *ast.SwitchStmt:
		f.cases(n)
	case *ast.ReturnStmt:
		f.returned(n)
	case *ast.BinaryExpr:
		f.binary(n)
	case *ast.UnaryExpr:
		f.unary(n)
	case *ast.BasicLit:
		f.literal(n)
	case *ast.Ident:
		f.word(n)
	case *ast.SelectorExpr:
		f.skip[n.Sel] = true
	case *ast.KeyValueExpr:
		if id, ok := n.Key.(*ast.Ident); ok && f.isField(id) {
			f.skip[id] = true
		}
	case *ast.CallExpr:
		f.call(n)
	case *ast.ArrayType:
		if n.Len != nil {
			f.skip[n.Len] = true
		}
	case *ast.BlockStmt:
		f.statements(n.List)
	case *ast.CaseClause:
		f.statements(n.Body)
	case *ast.CommClause:
		f.statements(n.Body)
	}
}

func (f *finder) isField(id *ast.Ident) bool {
	v, ok := f.info.Uses[id].(*types.Var)
	return ok && v.IsField()
}
