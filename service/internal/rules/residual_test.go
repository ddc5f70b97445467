package rules

import (
	"testing"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestResidualThatIsRefused(t *testing.T) {
	for what, body := range map[string]string{
		"nothing at all":              `true`,
		"only a type check":           `is_number(input.a)`,
		"no type check":               `input.a >= 3`,
		"check of another type":       `is_string(input.a); input.a >= 3`,
		"a truth without its check":   `input.a`,
		"a word without its check":    `input.a == "known"`,
		"a check of another fact":     `is_number(input.b); input.a >= 3`,
		"not":                         `not input.a < 3`,
		"with":                        `is_number(input.a); input.a >= 3 with input as {"a": 4}`,
		"an unchecked optional":       `object.get(input, "a", 0) >= 3`,
		"one fact read in two ways":   `is_number(input.a); object.get(input, "a", 9) >= 3`,
		"another document":            `is_number(data.x); data.x >= 3`,
		"a deeper fact":               `is_number(input.a.b); input.a.b >= 3`,
		"all facts":                   `is_number(input[x]); input[x] >= 3`,
		"fact against fact":           `is_number(input.a); is_number(input.b); input.a >= input.b`,
		"limit first":                 `is_number(input.a); 3 <= input.a`,
		"against null":                `is_number(input.a); input.a >= null`,
		"another comparison":          `is_number(input.a); input.a > 3`,
		"a call":                      `is_number(input.a); count(input.a) >= 3`,
		"an outcome that is no truth": `is_number(input.a); gte(input.a, 3, x)`,
		"both outcomes":               `is_number(input.a); gte(input.a, 3, true); gte(input.a, 3, false)`,
		"two types":                   `is_number(input.a); is_string(input.a); input.a >= 3`,
		"a binding":                   `x = input.a; is_number(x); x >= 3`,
		"every":                       `every x in [1] { x >= input.a }`,
	} {
		t.Run(what, func(t *testing.T) {
			_, err := readResidual(0, "code", ast.MustParseBodyWithOpts(body, ast.ParserOptions{}))
			require.Error(t, err, body)
		})
	}
}

// TestResidualIsAskedAsItStands takes each condition of a residual away from facts that fulfil all of them.
func TestResidualIsAskedAsItStands(t *testing.T) {
	body := `is_number(input.a); is_number(object.get(input, "b", 0)); is_boolean(input.c); is_string(input.d); gte(input.a, -3, true); lte(object.get(input, "b", 0), 5, false); input.c = false; equal(input.d, "known", true)`
	l, err := readResidual(7, "code", ast.MustParseBody(body))
	require.NoError(t, err)
	place := map[string]int{"d": 0, "a": 1, "b": 2, "c": 3}
	c, err := l.condition(place)
	require.NoError(t, err)
	assert.Equal(t, 7, c.rule)
	assert.Equal(t, "code", c.code)
	with := func(fact string, v ast.Value) []ast.Value {
		values := []ast.Value{ast.String("known"), ast.Number("-3"), ast.Number("5.00000000000001"), ast.Boolean(false)}
		values[place[fact]] = v
		return values
	}
	assert.True(t, c.hold(with("a", ast.Number("-3.0"))))
	for fact, wrong := range map[string][]ast.Value{
		"a": {nil, ast.Null{}, ast.String("5"), ast.Boolean(true), ast.NewArray(), ast.Number("-3.00000000000001")},
		"b": {nil, ast.Null{}, ast.String("6"), ast.NewObject(), ast.Number("5"), ast.Number("-6")},
		"c": {nil, ast.Null{}, ast.String("false"), ast.Number("0"), ast.Boolean(true)},
		"d": {nil, ast.Null{}, ast.Boolean(true), ast.String("Known"), ast.String("unknown"), ast.Number("0")},
	} {
		for _, v := range wrong {
			assert.Falsef(t, c.hold(with(fact, v)), "%s is %v", fact, v)
		}
	}
	l, err = readResidual(7, "code", ast.MustParseBody(`is_number(object.get(input, "b", 6)); lte(object.get(input, "b", 6), 5, false)`))
	require.NoError(t, err)
	c, err = l.condition(place)
	require.NoError(t, err)
	assert.True(t, c.hold(with("b", nil)), "the stand-in passes")
	assert.False(t, c.hold(with("b", ast.Null{})), "null is not missing")
	_, err = l.condition(map[string]int{"a": 0})
	require.Error(t, err, "a fact that the library does not know")
}

// TestMergeDropsWhatDoesNotDecide joins lines only where one comparison tells them apart, and never to nothing.
func TestMergeDropsWhatDoesNotDecide(t *testing.T) {
	read := func(body string) line {
		l, err := readResidual(0, "code", ast.MustParseBody(body))
		require.NoError(t, err)
		return l
	}
	const checks = `is_number(input.a); is_number(input.b); `
	four := []line{
		read(checks + `gte(input.a, 1, true); gte(input.b, 2, true)`),
		read(checks + `gte(input.a, 1, true); gte(input.b, 2, false)`),
		read(checks + `gte(input.a, 1, false); gte(input.b, 2, true)`),
		read(checks + `gte(input.a, 1, false); gte(input.b, 2, false)`),
	}
	got := merge(four)
	require.Len(t, got, 2, "the last comparison stays, as two lines")
	for _, l := range got {
		assert.Len(t, l.tests, 1)
		assert.Len(t, l.checks, 2, "type checks stay")
	}
	apart := []line{read(checks + `gte(input.a, 1, true); gte(input.b, 2, true)`), read(checks + `gte(input.a, 1, false); gte(input.b, 2, false)`)}
	assert.Len(t, merge(apart), 2)
	one, two := read(checks+`gte(input.a, 1, true); gte(input.b, 2, true)`), read(checks+`gte(input.a, 1, true); gte(input.b, 2, false)`)
	if joined := merge([]line{one, two}); assert.Len(t, joined, 1, "what can be joined") {
		assert.Equal(t, map[test]bool{{"a", "gte", "1"}: true}, joined[0].tests)
	}
	for what, change := range map[string]func(*line){
		"another rule":     func(l *line) { l.rule++ },
		"another code":     func(l *line) { l.code = "other" },
		"another check":    func(l *line) { l.checks = map[string]kind{"a": numberKind, "b": numberKind, "c": wordKind} },
		"another stand-in": func(l *line) { l.standIn = map[string]string{"a": "", "b": "5"} },
		"one test more":    func(l *line) { l.tests[test{"a", "lte", "9"}] = true },
	} {
		one, two = read(checks+`gte(input.a, 1, true); gte(input.b, 2, true)`), read(checks+`gte(input.a, 1, true); gte(input.b, 2, false)`)
		change(&two)
		assert.Len(t, merge([]line{one, two}), 2, what)
		one, two = read(checks+`gte(input.a, 1, true); gte(input.b, 2, true)`), read(checks+`gte(input.a, 1, true); gte(input.b, 2, false)`)
		change(&one)
		assert.Len(t, merge([]line{one, two}), 2, what)
	}
	other := []line{read(checks + `gte(input.a, 1, true); gte(input.b, 2, true)`), read(checks + `gte(input.a, 1, true); gte(input.b, 3, false)`)}
	assert.Len(t, merge(other), 2)
}

// TestEachExpressionIsRefusedAlone: beside what may stand in a residual, one expression that may not, with its reason.
func TestEachExpressionIsRefusedAlone(t *testing.T) {
	const good = `is_number(input.a); gte(input.a, 3, true); is_boolean(input.c); input.c; is_string(input.d); input.d == "known"; `
	const neither = " is neither a type check nor a comparison of a fact with a literal"
	read := func(body string) (line, error) {
		return readResidual(3, "code", ast.MustParseBodyWithOpts(body, ast.ParserOptions{}))
	}
	got, err := read(good + `is_number(object.get(input, "b", 5)); object.get(input, "b", 5) <= 7; input.c = true; is_number(input.a); gte(input.a, 3, true)`)
	require.NoError(t, err)
	assert.Equal(t, line{
		rule: 3, code: "code", checks: map[string]kind{"a": numberKind, "b": numberKind, "c": truthKind, "d": wordKind},
		standIn: map[string]string{"a": "", "b": "5", "c": "", "d": ""},
		tests: map[test]bool{
			{"a", "gte", "3"}: true, {"b", "lte", "7"}: true, {"c", "equal", "true"}: true, {"d", "equal", `"known"`}: true,
		},
	}, got)
	for bad, why := range map[string]string{
		`not input.c`:                          "not input.c" + neither,
		`not is_number(input.a)`:               "not is_number(input.a)" + neither,
		`not input.a < 3`:                      neither,
		`is_number(input.a) with input.a as 3`: neither,
		`input.c with input.c as true`:         neither,
		`input.e`:                              "e is compared (equal true) without is_boolean",
		`input.a`:                              "a is compared (equal true) without is_boolean",
		`input.e = false`:                      "e is compared (equal true) without is_boolean",
		`input.e >= 3`:                         "e is compared (gte 3) without is_number",
		`input.c <= 3`:                         "c is compared (lte 3) without is_number",
		`input.a == "known"`:                   `a is compared (equal "known") without is_string`,
		`input.e == "true"`:                    `e is compared (equal "true") without is_string`,
		`data.x`:                               "data.x" + neither,
		`3`:                                    "3" + neither,
		`input.c.d`:                            "input.c.d" + neither,
		`is_number(data.x)`:                    "is_number(data.x)" + neither,
		`is_number(input.a.b)`:                 neither,
		`is_number(3)`:                         neither,
		`is_number(input.a, 3)`:                neither,
		`is_string(input.a)`:                   "is_string(input.a)" + neither,
		`is_array(input.a)`:                    neither,
		`is_array(input.e)`:                    neither,
		`x = input.a`:                          neither,
		`input.a = 3`:                          neither,
		`input.c = input.e`:                    neither,
		`eq(input.c, true, true)`:              neither,
		`input.c = false`:                      neither, // both outcomes
		`data.x = true`:                        neither,
		`every x in [1] { x >= 1 }`:            neither,
		`gte(input.a)`:                         neither,
		`gte(input.a, 3, x)`:                   neither,
		`gte(input.a, 3, false)`:               neither,
		`gte(input.a, 3, true, 1)`:             neither,
		`gt(input.a, 3)`:                       neither,
		`neq(input.d, "known")`:                neither,
		`input.a >= null`:                      neither,
		`input.a >= input.b`:                   neither,
		`count(input.a) >= 3`:                  neither,
		`input[x] >= 3`:                        neither,
		`data.a >= 3`:                          neither,
		`object.get(input, "a", 9) >= 3`:       neither, // one fact in two ways
		`object.get(data, "b", 9) >= 3`:        neither,
		`object.get(input, "b", input.a) >= 3`: neither,
		`object.get(input, "b") >= 3`:          neither,
		`json.filter(input, "b", 9) >= 3`:      neither,
	} {
		_, err := read(good + bad)
		assert.ErrorContains(t, err, why, bad)
	}
	_, err = read(`is_number(input.a)`)
	assert.EqualError(t, err, "nothing is compared: it would pass always")
}
