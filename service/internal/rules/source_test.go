package rules

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// shapely is a rule of the shape, with a fact of each type and one that may be missing.
const shapely = `package rules.a.b

import data.limits.a.b as limits

default finding := {"effect": "hold", "code": "fact_missing"}

finding := outcome[input.n >= limits.low][o <= 5][o <= limits.high][input.w == "yes"][input.t] if {
	o := object.get(input, "o", 7)
	is_number(input.n)
	is_number(o)
	is_number(limits.low)
	is_number(limits.high)
	is_string(input.w)
	is_boolean(input.t)
}

outcome := {true: {true: {false: {true: {true: fine, false: bad}}}}, false: {true: {true: {true: {true: odd}}}}}

fine := {"effect": "pass", "code": "fine"}

bad := {"effect": "deny", "code": "bad"}

odd := {"effect": "hold", "code": "odd"}
`

// linted is what the lint makes of a text, whatever the compiler would say of it.
func linted(t *testing.T, text string) (source, Faults) {
	t.Helper()
	m, err := ast.ParseModuleWithOpts("b.rego", text, ast.ParserOptions{})
	require.NoError(t, err)
	return readSource("b.rego", "a/b", m)
}

// TestLintLearnsWhatTheRuleReads: types, order, dangerous sides, limits and the cells of the table.
func TestLintLearnsWhatTheRuleReads(t *testing.T) {
	got, faults := linted(t, shapely)
	require.Empty(t, faults)
	slices.SortFunc(got.cells, func(a, b leaf) int { return strings.Compare(a.code, b.code) })
	assert.Equal(t, source{
		checked: map[string]kind{"n": numberKind, "o": numberKind, "w": wordKind, "t": truthKind},
		order:   []string{"n", "o", "w", "t"},
		danger:  map[string]danger{"n": downward, "o": upward},
		limits:  []string{"low", "high"},
		cells:   []leaf{{"deny", "bad"}, {"pass", "fine"}, {"hold", "odd"}},
	}, got)
	_, faults = linted(t, strings.Replace(shapely, "o <= 5", "o <= limits.low", 1))
	assert.Empty(t, faults, "a limit that is compared twice")
	_, faults = linted(t, strings.Replace(shapely, `"o", 7`, `"o", limits.high`, 1))
	assert.Empty(t, faults, "a limit for a stand-in")
}

// TestLintRefusesAlone changes one thing at a time, and wants the lint to name it without the compiler's help: the line, what is wanted, and
// nothing besides.
func TestLintRefusesAlone(t *testing.T) {
	const call = "no such check"
	const missingPart = "b.rego: wanted one default finding, one finding with a body, and one outcome, got a part of them missing"
	noLookup := []string{"b.rego:7: wanted finding := outcome[…]"} // so there is none for the checks and the table
	for _, fact := range []string{"n", "o", "t", "w"} {
		noLookup = append(noLookup, "b.rego:7: wanted only facts that are compared, got a check on "+fact)
	}
	noLookup = append(noLookup, "b.rego:17: wanted the name of a leaf, got {false: {true: {true: ")
	changes := map[string]struct {
		old, new string
		want     []string // place, wanted, got: so they begin
	}{
		"other limits":           {"import data.limits.a.b as limits", "import data.limits.a.c as limits", []string{"b.rego:3: wanted no import but the rule's own limits, got import data.limits.a.c"}},
		"limits by another name": {"as limits", "as bounds", []string{"b.rego:3: wanted no import but the rule's own limits"}},
		"a second import":        {"as limits\n", "as limits\nimport data.limits.a.b\n", []string{"b.rego:4: wanted no import but the rule's own limits"}},
		"no default":             {"default finding", "default found", []string{missingPart, "b.rego:5: wanted each rule once, and only leaves"}},
		"no finding":             {"finding := outcome", "found := outcome", []string{missingPart, "b.rego:7: wanted each rule once, and only leaves"}},
		"no outcome":             {"\noutcome :=", "\nresult :=", []string{missingPart, "b.rego:17: wanted effect pass, hold or deny, and a code that is the leaf's name"}},
		"another default":        {`default finding := {"effect": "hold", "code": "fact_missing"}`, `default finding := {"effect": "hold", "code": "fine"}`, []string{"b.rego:5: wanted the default finding to hold as fact_missing"}},
		"two defaults":           {"\nfinding :=", "\ndefault finding := {\"effect\": \"hold\", \"code\": \"fact_missing\"}\n\nfinding :=", []string{"b.rego:7: wanted each rule once"}},
		"two findings":           {"\noutcome :=", "\nfinding := bad\n\noutcome :=", []string{"b.rego:17: wanted each rule once"}},
		"two outcomes":           {"\nfine :=", "\noutcome := {}\n\nfine :=", []string{"b.rego:19: wanted each rule once"}},
		"an outcome with a body": {"{true: {true: {true: {true: odd}}}}}", "{true: {true: {true: {true: odd}}}}} if input.n", []string{missingPart, "b.rego:17: wanted each rule once"}},
		"a default leaf":         {"\nfine :=", "\ndefault fine :=", []string{"b.rego:17: wanted the name of a leaf, got fine", "b.rego:19: wanted each rule once"}},
		"a leaf with a body":     {`"code": "odd"}`, `"code": "odd"} if input.n`, []string{"b.rego:17: wanted the name of a leaf, got odd", "b.rego:23: wanted each rule once"}},
		"an else":                {"is_boolean(input.t)\n}", "is_boolean(input.t)\n} else := bad", []string{missingPart, "b.rego:7: wanted no else, no function, no set"}},
		"a function":             {"\nfine :=", "\nfine(x) :=", []string{"b.rego:17: wanted the name of a leaf, got fine", "b.rego:19: wanted no else, no function, no set"}},
		"a set":                  {"\nfine :=", "\nmore contains 3\n\nfine :=", []string{"b.rego:19: wanted no else, no function, no set"}},
		"a leaf of three":        {`"code": "odd"}`, `"code": "odd", "by": 1}`, []string{"b.rego:17: wanted the name of a leaf, got odd", "b.rego:23: wanted one leaf"}},
		"a leaf that is a word":  {`{"effect": "hold", "code": "odd"}`, `"odd"`, []string{"b.rego:17: wanted the name of a leaf, got odd", "b.rego:23: wanted one leaf"}},
		"a leaf twice":           {"\nodd :=", "\nfine := {\"effect\": \"hold\", \"code\": \"fine\"}\n\nodd :=", []string{"b.rego:23: wanted one leaf"}},
		"another code":           {`"code": "odd"}`, `"code": "bad"}`, []string{"b.rego:17: wanted the name of a leaf, got odd", "b.rego:23: wanted effect pass, hold or deny, and a code that is the leaf's name"}},
		"another effect":         {`"effect": "hold", "code": "odd"}`, `"effect": "allow", "code": "odd"}`, []string{"b.rego:17: wanted the name of a leaf, got odd", "b.rego:23: wanted effect pass, hold or deny"}},
		"not":                    {"is_boolean(input.t)", "not is_boolean(input.t)", []string{"b.rego:7: wanted is_boolean on t, got " + call, "b.rego:14: wanted type checks and optional facts only"}},
		"with":                   {"is_boolean(input.t)", "is_boolean(input.t) with input.t as true", []string{"b.rego:7: wanted is_boolean on t, got " + call, "b.rego:14: wanted type checks and optional facts only"}},
		"a bare fact":            {"is_boolean(input.t)", "input.t", []string{"b.rego:7: wanted is_boolean on t, got " + call, "b.rego:14: wanted type checks and optional facts only"}},
		"another assignment":     {`o := object.get(input, "o", 7)`, `o := input.o`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted name := object.get(input", "b.rego:10: wanted a fact or a limit"}},
		"another call":           {`object.get(input, "o", 7)`, `max(input, "o", 7)`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted name := object.get(input", "b.rego:10: wanted a fact or a limit"}},
		"a call of two":          {`object.get(input, "o", 7)`, `object.get(input, "o")`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted name := object.get(input", "b.rego:10: wanted a fact or a limit"}},
		"a call of four":         {`object.get(input, "o", 7)`, `object.get(input, "o", 7, 8)`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted name := object.get(input", "b.rego:10: wanted a fact or a limit"}},
		"from elsewhere":         {`object.get(input, "o", 7)`, `object.get(data.x, "o", 7)`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted name := object.get(input", "b.rego:10: wanted a fact or a limit"}},
		"from deeper":            {`object.get(input, "o", 7)`, `object.get(input.x, "o", 7)`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted name := object.get(input", "b.rego:10: wanted a fact or a limit"}},
		"two locals at once":     {`o := object.get(input, "o", 7)`, `[o, p] := object.get(input, "o", 7)`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted name := object.get(input", "b.rego:10: wanted a fact or a limit"}},
		"a fact by a number":     {`object.get(input, "o", 7)`, `object.get(input, 5, 7)`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted a fact's name and a number or a limit as stand-in", "b.rego:10: wanted a fact or a limit"}},
		"a word for a stand-in":  {`object.get(input, "o", 7)`, `object.get(input, "o", "x")`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted a fact's name and a number or a limit as stand-in", "b.rego:10: wanted a fact or a limit"}},
		"a fact for a stand-in":  {`object.get(input, "o", 7)`, `object.get(input, "o", input.n)`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted fact >= limit", "b.rego:8: wanted a fact's name and a number or a limit as stand-in", "b.rego:10: wanted a fact or a limit"}},
		"a local twice":          {"is_number(o)\n", "is_number(o)\n\to := object.get(input, \"p\", 7)\n", []string{"b.rego:11: wanted a fact's name and a number or a limit as stand-in"}},
		"another check":          {"is_boolean(input.t)", "is_array(input.t)", []string{"b.rego:7: wanted is_boolean on t, got " + call, "b.rego:14: wanted is_number, is_string or is_boolean"}},
		"a check of nothing":     {"is_boolean(input.t)", "is_boolean()", []string{"b.rego:7: wanted is_boolean on t, got " + call, "b.rego:14: wanted is_number, is_string or is_boolean"}},
		"a check of two":         {"is_boolean(input.t)", "is_boolean(input.t, input.n)", []string{"b.rego:7: wanted is_boolean on t, got " + call, "b.rego:14: wanted is_number, is_string or is_boolean"}},
		"a limit as a word":      {"is_number(limits.low)", "is_string(limits.low)", []string{"b.rego:7: wanted is_number on limits.low, got " + call, "b.rego:11: wanted a fact or a limit, each checked once"}},
		"a check twice":          {"is_number(o)\n", "is_number(o)\n\tis_number(input.n)\n", []string{"b.rego:11: wanted a fact or a limit, each checked once"}},
		"a check of a number":    {"is_number(o)\n", "is_number(o)\n\tis_number(3)\n", []string{"b.rego:11: wanted a fact or a limit, each checked once"}},
		"a check of all facts":   {"is_number(o)\n", "is_number(o)\n\tis_number(input)\n", []string{"b.rego:11: wanted a fact or a limit, each checked once"}},
		"a check of a deep fact": {"is_number(input.n)", "is_number(input.n.m)", []string{"b.rego:7: wanted is_number on n, got " + call, "b.rego:9: wanted a fact or a limit, each checked once"}},
		"of another document":    {"is_number(input.n)", "is_number(data.n)", []string{"b.rego:7: wanted is_number on n, got " + call, "b.rego:9: wanted a fact or a limit, each checked once"}},
		"no lookup":              {`outcome[input.n >= limits.low][o <= 5][o <= limits.high][input.w == "yes"][input.t]`, "outcome", noLookup},
		"a lookup elsewhere":     {"finding := outcome[", "finding := bad[", noLookup},
		"a constant finding":     {`outcome[input.n >= limits.low][o <= 5][o <= limits.high][input.w == "yes"][input.t]`, `{"effect": "pass"}`, noLookup},
		"a constant lookup":      {"[o <= 5]", "[true]", []string{"b.rego:7: wanted a comparison or a fact that is true or false, got true"}},
		"a call of one fact":     {"[o <= 5]", "[count(input.n)]", []string{"b.rego:7: wanted a fact, a comparison and a limit"}},
		"above, not at least":    {"[o <= 5]", "[o < 5]", []string{"b.rego:7: wanted fact >= limit, fact <= limit or fact == \"word\""}},
		"equal numbers":          {"[o <= 5]", "[o == 5]", []string{"b.rego:7: wanted fact >= limit"}},
		"unequal words":          {`[input.w == "yes"]`, `[input.w != "yes"]`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted only facts that are compared, got a check on w"}},
		"ordered words":          {`[input.w == "yes"]`, `[input.w >= "yes"]`, []string{"b.rego:7: wanted fact >= limit", "b.rego:7: wanted only facts that are compared, got a check on w"}},
		"the limit first":        {"[o <= 5]", "[5 >= o]", []string{"b.rego:7: wanted fact >= limit"}},
		"fact against fact":      {"[o <= 5]", "[o <= input.n]", []string{"b.rego:7: wanted fact >= limit"}},
		"a fact on both sides":   {"[o <= 5]", "[input.n <= 5]", []string{"b.rego:7: wanted one dangerous side for each fact"}},
		"a word as a number":     {"[o <= 5]", "[input.w <= 5]", []string{"b.rego:7: wanted is_number on w, got " + call}},
		"a number as a word":     {`[input.w == "yes"]`, `[input.n == "yes"]`, []string{"b.rego:7: wanted is_string on n, got " + call, "b.rego:7: wanted only facts that are compared, got a check on w"}},
		"a number as a truth":    {"[input.t]", "[input.n]", []string{"b.rego:7: wanted is_boolean on n, got " + call, "b.rego:7: wanted only facts that are compared, got a check on t"}},
		"no fact":                {"[input.t]", "[data.x.t]", []string{"b.rego:7: wanted a fact that is true or false", "b.rego:7: wanted only facts that are compared, got a check on t"}},
		"a limit as a truth":     {"[input.t]", "[limits.low]", []string{"b.rego:7: wanted a fact that is true or false", "b.rego:7: wanted only facts that are compared, got a check on t"}},
		"no check of a limit":    {"\tis_number(limits.high)\n", "\n", []string{"b.rego:7: wanted is_number on limits.high, got " + call}},
		"no check of a fact":     {"\tis_number(input.n)\n", "\n", []string{"b.rego:7: wanted is_number on n, got " + call}},
		"a check of no use":      {"\tis_number(input.n)\n", "\tis_number(input.n)\n\tis_number(input.m)\n", []string{"b.rego:7: wanted only facts that are compared, got a check on m"}},
		"a deep limit":           {"is_number(limits.low)", "is_number(limits.low.er)", []string{"b.rego:7: wanted is_number on limits.low", "b.rego:11: wanted a fact or a limit, each checked once"}},
		"a table too flat":       {"false: {true: {true: {true: {true: odd}}}}", "false: odd", []string{"b.rego:17: wanted 4 more levels of true and false, got odd"}},
		"a table too deep":       {"{true: odd}", "{true: {true: odd}}", []string{"b.rego:17: wanted the name of a leaf"}},
		"a table by words":       {"{true: odd}", `{"true": odd}`, []string{"b.rego:17: wanted true or false, got \"true\""}},
		"a table to a text":      {"{true: odd}", `{true: "odd"}`, []string{"b.rego:17: wanted the name of a leaf, got \"odd\""}},
		"a table to nowhere":     {"{true: odd}", `{true: nowhere}`, []string{"b.rego:17: wanted the name of a leaf, got nowhere"}},
	}
	for _, what := range slices.Sorted(maps.Keys(changes)) {
		c := changes[what]
		require.Contains(t, shapely, c.old, what)
		_, faults := linted(t, strings.Replace(shapely, c.old, c.new, 1))
		if assert.Error(t, faults.err("linting"), what) {
			assertSaid(t, c.want, faults, what)
		}
	}
}

// assertSaid wants these faults in this order, each beginning so.
func assertSaid(t *testing.T, want []string, faults Faults, what string) {
	t.Helper()
	var said []string
	for i, f := range faults {
		text, _, _ := strings.Cut(f.String(), "; "+asDelivered)
		if i < len(want) && strings.HasPrefix(text, want[i]) {
			text = want[i]
		}
		said = append(said, text)
	}
	assert.Equal(t, want, said, what)
}
