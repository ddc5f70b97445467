package main

import (
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"slices"
	"strconv"
	"strings"
)

// condition takes a condition as true and as false. Where it is made of parts, one of the two is left to them: whatever notices
// a part left out notices that as well.
func (f *finder) condition(e ast.Expr) {
	b, ok := ast.Unparen(e).(*ast.BinaryExpr)
	switch {
	case ok && b.Op == token.LAND:
		f.around(e, f.note(e, f.src(e), "never"), "(!zz(%d) && (", "))")
	case ok && b.Op == token.LOR:
		f.around(e, f.note(e, f.src(e), "always"), "(zz(%d) || (", "))")
	default:
		m := f.note(e, f.src(e), "always", "never")
		f.around(e, m, "(zz(%d) || !zz("+strconv.Itoa(m.id+1)+") && (", "))")
		if u, isNot := ast.Unparen(e).(*ast.UnaryExpr); isNot {
			f.skip[u] = u.Op == token.NOT && plain(u.X)
		}
	}
}

// plain tells whether nothing inside of an expression can be changed.
func plain(e ast.Expr) bool {
	switch e.(type) {
	case *ast.Ident, *ast.SelectorExpr:
		return true
	}
	return false
}

func (f *finder) loop(n *ast.ForStmt) {
	if n.Post != nil {
		f.skip[n.Post] = true // it would never end
	}
	if n.Cond != nil {
		f.around(n.Cond, f.note(n.Cond, f.src(n.Cond), "never"), "(!zz(%d) && (", "))")
	}
}

// cases are the conditions of a switch over nothing.
func (f *finder) cases(n *ast.SwitchStmt) {
	if n.Tag != nil {
		return
	}
	for _, c := range n.Body.List {
		for _, e := range c.(*ast.CaseClause).List {
			f.condition(e)
		}
	}
}

// returned changes the truth that a function tells, and an error into none.
func (f *finder) returned(n *ast.ReturnStmt) {
	if len(n.Results) == 0 {
		return
	}
	last := n.Results[len(n.Results)-1]
	tv := f.info.Types[last]
	switch {
	case tv.IsNil():
	case isError(tv.Type) || f.givesError() && !isTuple(tv.Type):
		f.around(last, f.note(n, f.src(n), "no error"), "zzNil(%d, ", ")")
	case tv.Value == nil && isBool(tv.Type) && len(n.Results) == 1 && simple(last):
		f.condition(last)
	}
}

// simple tells an expression whose truth is not made of parts that are changed by themselves.
func simple(e ast.Expr) bool {
	switch e := ast.Unparen(e).(type) {
	case *ast.BinaryExpr:
		return e.Op != token.LAND && e.Op != token.LOR && !slices.Contains(ordered, e.Op)
	case *ast.UnaryExpr:
		return false
	}
	return true
}

var ordered = []token.Token{token.LSS, token.LEQ, token.GTR, token.GEQ}

// givesError tells whether the function around gives an error last.
func (f *finder) givesError() bool {
	for i := len(f.stack) - 1; i >= 0; i-- {
		var t *ast.FuncType
		switch n := f.stack[i].(type) {
		case *ast.FuncLit:
			t = n.Type
		case *ast.FuncDecl:
			t = n.Type
		default:
			continue
		}
		if t.Results == nil {
			return false
		}
		return isError(f.info.Types[t.Results.List[len(t.Results.List)-1].Type].Type)
	}
	return false
}

func isTuple(t types.Type) bool { _, ok := t.(*types.Tuple); return ok }

func isError(t types.Type) bool {
	return t != nil && types.Identical(t, types.Universe.Lookup("error").Type())
}

func isBool(t types.Type) bool {
	b, ok := t.Underlying().(*types.Basic)
	return ok && b.Info()&types.IsBoolean != 0
}

func isWhole(t types.Type) bool {
	b, ok := t.Underlying().(*types.Basic)
	return ok && b.Info()&types.IsInteger != 0
}

func isNumber(t types.Type) bool {
	b, ok := t.Underlying().(*types.Basic)
	return ok && b.Info()&types.IsNumeric != 0 && b.Info()&types.IsComplex == 0
}

var comparing = map[token.Token]struct{ call, edge, opposite string }{
	token.LSS: {"zzLss(", "<=", ">="}, token.LEQ: {"zzLeq(", "<", ">"},
	token.GTR: {"zzGtr(", ">=", "<="}, token.GEQ: {"zzGeq(", ">", "<"},
}

var reckoning = map[token.Token]struct{ call, other string }{
	token.ADD: {"zzAdd(", "-"}, token.SUB: {"zzSub(", "+"}, token.MUL: {"zzMul(", "/"}, token.QUO: {"zzQuo(", "*"},
}

func (f *finder) binary(n *ast.BinaryExpr) {
	if f.info.Types[n].Value != nil {
		return
	}
	if c, ok := comparing[n.Op]; ok {
		m := f.note(n, f.src(n), n.Op.String()+" to "+c.edge, n.Op.String()+" to "+c.opposite)
		f.around(n, m, c.call+"%d, ", ")")
		f.replace(n.OpPos, len(n.Op.String()), ",", m)
		return
	}
	if c, ok := reckoning[n.Op]; ok && isNumber(f.info.Types[n].Type) {
		m := f.note(n, f.src(n), n.Op.String()+" to "+c.other)
		f.around(n, m, c.call+"%d, ", ")")
		f.replace(n.OpPos, len(n.Op.String()), ",", m)
		return
	}
	switch n.Op {
	case token.LAND:
		f.part(n.X, "taken as true", "(zz(%d) || (", "))")
		f.part(n.Y, "taken as true", "(zz(%d) || (", "))")
	case token.LOR:
		f.part(n.X, "taken as false", "(!zz(%d) && (", "))")
		f.part(n.Y, "taken as false", "(!zz(%d) && (", "))")
	case token.EQL, token.NEQ:
		if !f.judgedWhole() {
			f.around(n, f.note(n, f.src(n), "negated"), "(zz(%d) != (", "))")
		}
	}
}

// part leaves out one side of && or ||, unless it is made of such parts itself.
func (f *finder) part(e ast.Expr, change, before, behind string) {
	if b, ok := e.(*ast.BinaryExpr); ok && (b.Op == token.LAND || b.Op == token.LOR) && (b.Op == token.LAND) == (change == "taken as true") {
		return
	}
	f.around(e, f.note(e, f.src(e), change), before, behind)
}

// judgedWhole tells whether the expression visited is a condition or a part of one that is taken as true or false anyway.
func (f *finder) judgedWhole() bool {
	for up := 1; ; up++ {
		switch p := f.parent(up).(type) {
		case *ast.ParenExpr:
			continue
		case *ast.IfStmt, *ast.CaseClause, *ast.ForStmt:
			return true
		case *ast.BinaryExpr:
			return p.Op == token.LAND || p.Op == token.LOR
		case *ast.ReturnStmt:
			return len(p.Results) == 1
		default:
			return false
		}
	}
}

func (f *finder) unary(n *ast.UnaryExpr) {
	tv := f.info.Types[n]
	switch {
	case n.Op == token.SUB && tv.Value == nil:
		m := f.note(n, f.src(n), "sign lost")
		f.around(n, m, "zzNeg(%d, ", ")")
		f.replace(n.OpPos, 1, "", m)
	case n.Op == token.NOT && (!f.judgedWhole() || f.isResult()):
		f.around(n, f.note(n, f.src(n), "negated"), "(zz(%d) != (", "))")
	}
}

// besideError tells whether the value visited is returned beside an error: nobody may look at it.
func (f *finder) besideError() bool {
	r, ok := f.parent(1).(*ast.ReturnStmt)
	if !ok || len(r.Results) < 2 {
		return false
	}
	tv := f.info.Types[r.Results[len(r.Results)-1]]
	return !tv.IsNil() && f.givesError()
}

func (f *finder) isResult() bool { _, ok := f.parent(1).(*ast.ReturnStmt); return ok }

func (f *finder) literal(n *ast.BasicLit) {
	if n.Kind != token.INT && n.Kind != token.FLOAT {
		return
	}
	if u, ok := f.parent(1).(*ast.IndexExpr); ok && u.Index == ast.Expr(n) {
		return // beyond the end is a panic: nothing learnt
	}
	if b, ok := f.parent(1).(*ast.BinaryExpr); ok && slices.Contains(ordered, b.Op) && isWhole(f.info.Types[n].Type) {
		return // the edge of the comparison is moved already
	}
	tv := f.info.Types[n]
	if tv.Value == nil || f.besideError() {
		return
	}
	a, b := f.others(constant.ToFloat(tv.Value), tv.Type)
	if a == "" {
		return
	}
	m := f.note(n, n.Value+" in "+f.lineOf(n), n.Value+" "+a, n.Value+" "+b)
	f.pick(n, m, a, b)
}

// pick puts a choice of three values in the place of a number.
func (f *finder) pick(n ast.Expr, m *mutant, a, b string) {
	t, text := f.typeName(f.info.Types[n].Type), f.src(n)
	conv := func(s string) string { return t + "(" + s + ")" }
	call := "zzPick(" + strconv.Itoa(m.id) + ", " + strings.Join([]string{conv(text), conv(value(text, a)), conv(value(text, b))}, ", ") + ")"
	f.replace(n.Pos(), len(text), call, m)
}

// typeName writes a type as this file would.
func (f *finder) typeName(t types.Type) string {
	return "(" + types.TypeString(types.Default(t), func(p *types.Package) string {
		if p == f.pkg {
			return ""
		}
		return p.Name()
	}) + ")"
}

// lineOf is the line of source around a node.
func (f *finder) lineOf(n ast.Node) string {
	text := string(f.text[f.path])
	at := f.at(n.Pos())
	from := strings.LastIndexByte(text[:at], '\n') + 1
	to := strings.IndexByte(text[at:], '\n')
	if to < 0 {
		to = len(text) - at
	}
	return text[from : at+to]
}

// word changes true and false, and the places that use a constant of this package.
func (f *finder) word(n *ast.Ident) {
	obj := f.info.Uses[n]
	if obj == nil {
		return
	}
	if c, ok := obj.(*types.Const); ok && c.Pkg() == nil && (n.Name == "true" || n.Name == "false") {
		if f.besideError() {
			return
		}
		f.around(n, f.note(n, n.Name+" in "+f.lineOf(n), n.Name+" negated"), "(zz(%d) != ", ")")
		return
	}
	if m, ok := f.consts[obj]; ok {
		a, b := f.others(obj.(*types.Const).Val(), obj.Type())
		f.pick(n, m, a, b)
	}
}

func (f *finder) call(n *ast.CallExpr) {
	name := types.ExprString(n.Fun)
	if name == "make" {
		if _, isMap := f.info.Types[n].Type.Underlying().(*types.Map); isMap || len(n.Args) == 3 {
			f.skip[n.Args[len(n.Args)-1]] = true // room, no length
		}
	}
	to := map[string]string{"min": "zzLow", "math.Min": "zzLow", "max": "zzHigh", "math.Max": "zzHigh"}[name]
	if to == "" || f.info.Types[n].Value != nil || len(n.Args) < 2 || n.Ellipsis != token.NoPos {
		return
	}
	change := map[string]string{"zzLow": "largest taken", "zzHigh": "smallest taken"}[to]
	m := f.note(n, f.src(n), change)
	f.skip[n.Fun] = true
	f.replace(n.Fun.Pos(), len(f.src(n.Fun)), to, m)
	f.replace(n.Lparen, 1, "("+strconv.Itoa(m.id)+", ", m)
}

// statements leaves out assignments and calls, and turns the sign of += and the like.
func (f *finder) statements(list []ast.Stmt) {
	for _, s := range list {
		switch s := s.(type) {
		case *ast.ExprStmt:
			if c, ok := s.X.(*ast.CallExpr); ok && !kept(types.ExprString(c.Fun)) {
				f.around(s, f.note(s, f.src(s), "left out"), "if !zz(%d) { ", " }")
			}
		case *ast.AssignStmt:
			if s.Tok != token.DEFINE && !f.blank(s) {
				f.around(s, f.note(s, f.src(s), "left out"), "if !zz(%d) { ", " }")
			}
			f.compound(s)
		case *ast.IncDecStmt:
			f.around(s, f.note(s, f.src(s), "left out"), "if !zz(%d) { ", " }")
		}
	}
}

// kept tells calls whose loss says nothing: locks and closing, which tests by their nature hardly see, and panics.
func kept(call string) bool {
	for _, end := range []string{"panic", ".Lock", ".Unlock", ".RLock", ".RUnlock", ".Close", ".Rollback"} {
		if strings.HasSuffix(call, end) {
			return true
		}
	}
	return false
}

func (f *finder) blank(s *ast.AssignStmt) bool {
	for _, e := range s.Lhs {
		if id, ok := e.(*ast.Ident); !ok || id.Name != "_" {
			return false
		}
	}
	return true
}

var compound = map[token.Token]token.Token{
	token.ADD_ASSIGN: token.ADD, token.SUB_ASSIGN: token.SUB, token.MUL_ASSIGN: token.MUL, token.QUO_ASSIGN: token.QUO,
}

// compound writes x += y as x = x + y, so that the sign can be turned.
func (f *finder) compound(s *ast.AssignStmt) {
	op, ok := compound[s.Tok]
	if !ok || !isNumber(f.info.Types[s.Lhs[0]].Type) {
		return
	}
	c := reckoning[op]
	m := f.note(s, f.src(s), s.Tok.String()+" to "+c.other+"=")
	f.replace(s.TokPos, len(s.Tok.String()), "= "+c.call+strconv.Itoa(m.id)+", "+f.src(s.Lhs[0])+", ", m)
	f.put(f.at(s.End()), f.at(s.End()), ")", true, m)
}
