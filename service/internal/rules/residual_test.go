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
	other := []line{read(checks + `gte(input.a, 1, true); gte(input.b, 2, true)`), read(checks + `gte(input.a, 1, true); gte(input.b, 3, false)`)}
	assert.Len(t, merge(other), 2)
}
