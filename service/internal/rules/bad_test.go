package rules

import (
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/verdict"
)

// copied is the policies folder as a map that a test may change.
func copied(t testing.TB) fstest.MapFS {
	t.Helper()
	out := fstest.MapFS{}
	require.NoError(t, fs.WalkDir(dirFS(), ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := fs.ReadFile(dirFS(), name)
		out[name] = &fstest.MapFile{Data: text}
		return err
	}))
	return out
}

// badHead is METADATA for a rule outside the shape.
const badHead = `# METADATA
# scope: package
# title: A bad rule
# description: For tests.
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, retreat, sync, track, jog, home, park, flip]
#   if_missing: sample
#   codes:
#     fine: {fact: lock_count, limit: 0}
package rules.bad.rule

`

const badFile = "rules/bad/rule/rule.rego"

// badRules are rules outside the shape, one of each kind, with what becomes of them at run time if a load let them through.
func badRules() map[string]struct{ text, code string } {
	body := func(s string) string { return badHead + s + "\n" }
	def := `default finding := {"effect": "hold", "code": "fact_missing"}` + "\n"
	list := "[" + strings.TrimSuffix(strings.Repeat("1, ", 60), ", ") + "]"
	return map[string]struct{ text, code string }{
		"undefined":                 {body(`finding := {"effect": "pass", "code": "fine"} if input.lock_count > 99`), "rule_malformed"},
		"empty":                     {body(`nothing := 1`), "rule_malformed"},
		"two bodies that disagree":  {body(def + `finding := {"effect": "pass", "code": "fine"} if input.lock_count >= 0` + "\n" + `finding := {"effect": "deny", "code": "fine"} if input.lock_count <= 5`), "rule_failed"},
		"loops":                     {body(def + `finding := {"effect": "pass", "code": "fine"} if { l := ` + list + `; a := l[_]; b := l[_]; c := l[_]; d := l[_]; e := l[_]; f := l[_]; g := l[_]; input.lock_count > a; b > c; d > e; f > g }`), "rule_late"},
		"text for a finding":        {body(`finding := "pass"`), "rule_malformed"},
		"truth for a finding":       {body(`finding := true`), "rule_malformed"},
		"list for a finding":        {body(`finding := ["pass", "fine"]`), "rule_malformed"},
		"set for a finding":         {body(`finding contains "pass"`), "rule_malformed"},
		"no code":                   {body(`finding := {"effect": "pass"}`), "rule_malformed"},
		"more than a finding":       {body(`finding := {"effect": "pass", "code": "fine", "by": "me"}`), "rule_malformed"},
		"effect that nobody knows":  {body(`finding := {"effect": "allow", "code": "fine"}`), "rule_malformed"},
		"effect that is no word":    {body(`finding := {"effect": true, "code": "fine"}`), "rule_malformed"},
		"code that METADATA lacks":  {body(`finding := {"effect": "deny", "code": "novel"}`), "rule_malformed"},
		"passes always":             {body(`finding := {"effect": "pass", "code": "fine"}`), "rule_contradicts_itself"},
		"not, on a missing fact":    {body(def + `finding := {"effect": "pass", "code": "fine"} if not input.lock_count > 0`), "rule_contradicts_itself"},
		"default that passes":       {body(`default finding := {"effect": "pass", "code": "fine"}`), "rule_contradicts_itself"},
		"else":                      {body(def + `finding := {"effect": "deny", "code": "fine"} if { input.lock_count > 5 } else := {"effect": "pass", "code": "fine"}`), "rule_contradicts_itself"},
		"function":                  {body(def + `f(x) := {"effect": "pass", "code": "fine"} if x == 0` + "\n" + `finding := f(input.lock_count)`), "rule_contradicts_itself"},
		"iteration":                 {body(def + `finding := {"effect": "pass", "code": "fine"} if { some k; input[k] == 0 }`), "rule_contradicts_itself"},
		"with":                      {body(def + `finding := {"effect": "pass", "code": "fine"} if { x := input.lock_count with input as {"lock_count": 0}; x == 0 }`), "rule_contradicts_itself"},
		"another rule's conclusion": {body(def + `finding := {"effect": "pass", "code": "fine"} if data.rules.lock.none.finding.effect == "pass"`), "rule_contradicts_itself"},
	}
}

// TestBadRuleIsRefusedAtLoad wants each refused, with its file named.
func TestBadRuleIsRefusedAtLoad(t *testing.T) {
	lim := testLimits(t)
	for name, bad := range badRules() {
		t.Run(name, func(t *testing.T) {
			files := copied(t)
			files[badFile] = &fstest.MapFile{Data: []byte(bad.text)}
			_, err := Load(files, lim)
			require.ErrorIs(t, err, ErrFaulty)
			require.ErrorContains(t, err, badFile)
		})
	}
}

// TestBadRuleHoldsAndHarmsNoOther loads each all the same, past the lint, and wants a hold that names it and every other
// finding as without it.
func TestBadRuleHoldsAndHarmsNoOther(t *testing.T) {
	lim := testLimits(t)
	without := loaded(t).Judge(t.Context(), everything(), good(), noon())
	for name, bad := range badRules() {
		t.Run(name, func(t *testing.T) {
			files := copied(t)
			files[badFile] = &fstest.MapFile{Data: []byte(bad.text)}
			lib, err := load(files, false)
			require.NoError(t, err)
			s, err := lib.withLimits(lim)
			require.NoError(t, err)
			require.NoError(t, s.Prove())
			s.bound.patience = patience{query: 300 * time.Millisecond, question: time.Minute}
			got := s.Judge(t.Context(), everything(), good(), noon())
			var others []verdict.Finding
			for _, f := range got {
				if f.Rule != "bad/rule" {
					others = append(others, f)
					continue
				}
				assert.Equal(t, verdict.Holds, f.Effect, "%+v", f)
				assert.Equal(t, bad.code, f.Code, "%+v", f)
				assert.Contains(t, f.Sentence, "bad/rule")
				assert.NotEmpty(t, f.Remedy)
				assert.NotEmpty(t, f.Needs)
			}
			assert.Equal(t, without, others, "findings of the other rules")
			assert.Len(t, got, len(without)+1)
			assert.Equal(t, verdict.Hold, verdict.Combine(got, s.IDs(), Required(slew())))
		})
	}
}

// TestErrorInTheConditionsFallsBack breaks one condition and wants every rule asked by itself.
func TestErrorInTheConditionsFallsBack(t *testing.T) {
	s := loaded(t)
	want := s.Judge(t.Context(), everything(), good(), noon())
	broken := append([]condition{{reads: []read{{place: len(s.lib.facts), kind: numberKind}}}}, *s.bound.conditions.Load()...)
	s.bound.conditions.Store(&broken)
	_, err := s.bound.passed(t.Context(), s.lib.read(good()).values, allOf(s))
	require.Error(t, err)
	got := s.Judge(t.Context(), everything(), good(), noon())
	assert.Equal(t, want, got)
}

// TestLateIsHold asks when the asker is gone already.
func TestLateIsHold(t *testing.T) {
	s := loaded(t)
	cancelled, cancel := contextThatIsOver(t)
	defer cancel()
	got := s.Judge(cancelled, everything(), good(), noon())
	require.Len(t, got, 30)
	for _, f := range got {
		assert.Equal(t, verdict.Holds, f.Effect, f.Rule)
		assert.Equal(t, "rule_late", f.Code, f.Rule)
		assert.Equal(t, verdict.NeedTime, f.Needs[0].Kind)
	}
}

// TestOneRuleMayNotUseUpTheQuestion gives a looping rule more time than the question has: those behind it are late, too.
func TestOneRuleMayNotUseUpTheQuestion(t *testing.T) {
	files := copied(t)
	files[badFile] = &fstest.MapFile{Data: []byte(badRules()["loops"].text)}
	lib, err := load(files, false)
	require.NoError(t, err)
	s, err := lib.withLimits(testLimits(t))
	require.NoError(t, err)
	s.bound.patience = patience{query: 600 * time.Millisecond, question: 100 * time.Millisecond}
	f := facts.Set{}
	f.Number("lock_count", 0, facts.Computed)
	for _, x := range s.Judge(t.Context(), everything(), f, noon()) {
		assert.NotEqual(t, verdict.Denies, x.Effect, x.Rule)
		if x.Rule > "bad/rule" && x.Rule != "lock/none" {
			assert.Equal(t, "rule_late", x.Code, x.Rule)
		}
	}
}

// TestNoBuiltinButTheAllowed wants every other built-in of OPA unknown to the compiler: time, network, randomness and all.
func TestNoBuiltinButTheAllowed(t *testing.T) {
	allowed := map[string]bool{}
	for _, b := range capabilities().Builtins {
		allowed[b.Name] = true
	}
	assert.Len(t, allowed, 12)
	for _, never := range []string{"time.now_ns", "http.send", "net.lookup_ip_addr", "rand.intn", "uuid.rfc4122", "opa.runtime", "trace", "print", "walk", "io.jwt.decode_verify"} {
		require.False(t, allowed[never], never)
	}
	for _, b := range ast.Builtins {
		if allowed[b.Name] || b.Infix != "" || strings.HasPrefix(b.Name, "internal.") {
			continue
		}
		args := make([]string, len(b.Decl.FuncArgs().Args))
		for i := range args {
			args[i] = "input.lock_count"
		}
		text := fmt.Sprintf("package x\n\nfinding := y if y := %s(%s)\n", b.Name, strings.Join(args, ", "))
		m, err := ast.ParseModuleWithOpts("x.rego", text, ast.ParserOptions{Capabilities: capabilities()})
		if err != nil {
			continue // unknown to the parser already
		}
		c := ast.NewCompiler().WithCapabilities(capabilities())
		c.Compile(map[string]*ast.Module{"x.rego": m})
		require.Truef(t, c.Failed(), "%s must not compile", b.Name)
		require.Contains(t, c.Errors.Error(), "undefined function", b.Name)
	}
}

// TestRuleThatAsksForTimeIsRefused wants it named, together with the built-in.
func TestRuleThatAsksForTimeIsRefused(t *testing.T) {
	for _, call := range []string{"time.now_ns()", `http.send({"method": "get", "url": "x:"})`, `rand.intn("a", 9)`, "opa.runtime()"} {
		files := copied(t)
		name := "rules/sky/horizon/horizon.rego"
		text := strings.Replace(string(files[name].Data), "	is_number(input.above_horizon_deg)\n", "	is_number(input.above_horizon_deg)\n	x := "+call+"\n	x\n", 1)
		files[name] = &fstest.MapFile{Data: []byte(text)}
		_, err := Load(files, testLimits(t))
		require.ErrorIs(t, err, ErrFaulty, call)
		require.ErrorContains(t, err, name)
		require.ErrorContains(t, err, "undefined function "+call[:strings.Index(call, "(")])
	}
}

// TestOutsideTheShapeIsRefused changes a good rule, one thing at a time.
func TestOutsideTheShapeIsRefused(t *testing.T) {
	const name = "rules/sky/floor/floor.rego"
	changes := map[string][2]string{
		"misspelt fact":               {"input.altitude_min_deg", "input.altitude_mim_deg"},
		"misspelt optional fact":      {`"altitude_sharp_min_deg"`, `"altitude_shrap_min_deg"`},
		"misspelt limit":              {"limits.altitude_deg", "limits.altitud_deg"},
		"no check on the fact":        {"\tis_number(input.altitude_min_deg)\n", ""},
		"no check on the limit":       {"\tis_number(limits.altitude_deg)\n", ""},
		"no check on the optional":    {"\tis_number(sharp)\n", ""},
		"wrong check":                 {"is_number(input.altitude_min_deg)", "is_string(input.altitude_min_deg)"},
		"negated check":               {"is_number(input.altitude_min_deg)", "not is_number(input.altitude_min_deg)"},
		"other limits":                {"import data.limits.sky.floor as limits", "import data.limits.sky.horizon as limits"},
		"default denies":              {`default finding := {"effect": "hold"`, `default finding := {"effect": "deny"`},
		"default passes":              {`default finding := {"effect": "hold"`, `default finding := {"effect": "pass"`},
		"two dangerous sides":         {"[sharp >= limits.altitude_deg]", "[sharp <= limits.altitude_deg][input.altitude_min_deg <= limits.altitude_deg]"},
		"fact against fact":           {"[sharp >= limits.altitude_deg]", "[sharp >= input.altitude_min_deg]"},
		"arithmetic":                  {"[sharp >= limits.altitude_deg]", "[sharp + 1 >= limits.altitude_deg]"},
		"leaf with another code":      {`"code": "below_floor"`, `"code": "above_floor"`},
		"unknown effect":              {`below_floor := {"effect": "deny"`, `below_floor := {"effect": "no"`},
		"table too shallow":           {"true: {true: above_floor, false: above_floor}", "true: above_floor"},
		"table names no leaf":         {"false: below_floor}", "false: nowhere}"},
		"never passes":                {"true: {true: above_floor, false: above_floor}", "true: {true: near_floor, false: near_floor}"},
		"code without METADATA":       {"#     below_floor:", "#     below_flor:"},
		"no sentence":                 {"#       sentence:", "#       sentense:"},
		"no remedy":                   {"#       remedy:", "#       remedi:"},
		"a hole that nobody fills":    {"{value}", "{valeu}"},
		"unknown need":                {"need: [homing]", "need: [wishing]"},
		"hold without need":           {"#       need: [homing]\n", ""},
		"unknown action":              {"actions: [slew, retreat", "actions: [slew, retreet"},
		"does not judge what it must": {"actions: [slew, retreat", "actions: [slew"},
		"unknown equipment":           {"#   if_missing", "#   needs: [dome]\n#   if_missing"},
		"unknown trait":               {"#   if_missing", "#   when: {slew: [fast]}\n#   if_missing"},
		"when it must judge":          {"#   if_missing", "#   when: {slew: [sky_target]}\n#   if_missing"},
		"unknown need of facts":       {"if_missing: sample", "if_missing: luck"},
		"no schema":                   {"# schemas:\n#   - input: schema.facts\n", ""},
		"other schema":                {"schema.facts", "schema.fiction"},
		"no METADATA":                 {"# METADATA\n", "# METADATUM\n"},
		"no title":                    {"# title:", "# titel:"},
		"another package":             {"package rules.sky.floor", "package rules.sky.flor"},
		"a second rule":               {"\noutcome :=", "\nmore := input.altitude_min_deg\n\noutcome :="},
		"a limit that is no name":     {"#       limit: altitude_deg", "#       limit: [3]"},
		"a fact of another rule":      {"#       fact: altitude_min_deg", "#       fact: lock_count"},
		"not Rego":                    {"default finding", "default thing is"},
		"unused local":                {"\tis_number(sharp)\n", "\tis_number(sharp)\n\tz := object.get(input, \"lock_count\", 0)\n"},
		"key that is no truth":        {"\tfalse: {true: near", "\t\"false\": {true: near"},
	}
	lim := testLimits(t)
	for _, what := range slices.Sorted(maps.Keys(changes)) {
		t.Run(what, func(t *testing.T) {
			files := copied(t)
			old := string(files[name].Data)
			require.Contains(t, old, changes[what][0])
			files[name] = &fstest.MapFile{Data: []byte(strings.ReplaceAll(old, changes[what][0], changes[what][1]))}
			_, err := Load(files, lim)
			require.ErrorIs(t, err, ErrFaulty)
			require.ErrorContains(t, err, name)
		})
	}
}

// TestMissingRequiredRule takes each rule away in turn.
func TestMissingRequiredRule(t *testing.T) {
	lim := testLimits(t)
	for _, id := range loaded(t).IDs() {
		files := copied(t)
		delete(files, "rules/"+id+"/"+idParts(id)[1]+".rego")
		_, err := Load(files, lim)
		require.ErrorIs(t, err, ErrFaulty, id)
		require.ErrorContains(t, err, "rules/"+id)
	}
}

// TestStrayFilesAreRefused wants nothing beside rules and their tests below rules/.
func TestStrayFilesAreRefused(t *testing.T) {
	for _, name := range []string{"rules/stray.rego", "rules/sky/floor/data.json", "rules/sky/floor/more.rego", "rules/sky/floor/deep/deep.rego"} {
		files := copied(t)
		files[name] = &fstest.MapFile{Data: []byte("package x\n")}
		_, err := Load(files, testLimits(t))
		require.ErrorIs(t, err, ErrFaulty)
		require.ErrorContains(t, err, name)
	}
	files := copied(t)
	delete(files, schemaFile)
	_, err := Load(files, testLimits(t))
	require.ErrorContains(t, err, schemaFile)
	_, err = Load(fstest.MapFS{}, testLimits(t))
	require.Error(t, err)
}
