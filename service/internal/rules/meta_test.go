package rules

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/verdict"
)

// described is METADATA that says all there is to say.
const described = `# METADATA
# scope: package
# title: A title
# description: A description.
# schemas:
#   - input: schema.facts
# custom:
#   actions: [slew, home]
#   when: {slew: [sky_target, tracks]}
#   needs: [roof, drag]
#   if_missing: sample
#   codes:
#     fine: {fact: n, limit: low}
#     odd: {fact: o, limit: 5, sentence: "It is {value}, {n}, {about|none} and {miss} off {limit}.", remedy: "Mend it.", need: [homing, clock], remedies: {home: "Wait."}}
#     bad: {fact: t, sentence: "It is bad.", remedy: "Leave it."}
`

// meant is what METADATA of the rule of the shape says, and what is wrong with it.
func meant(t *testing.T, meta string) (*rule, []string) {
	t.Helper()
	m, err := ast.ParseModuleWithOpts("b.rego", meta+shapely, ast.ParserOptions{ProcessAnnotation: true})
	require.NoError(t, err)
	r := &rule{Rule: Rule{ID: "a/b"}, file: "b.rego", module: m}
	var faults Faults
	r.source, faults = readSource("b.rego", "a/b", m)
	require.Empty(t, faults)
	var said []string
	for _, f := range readMeta(r) {
		text, _, _ := strings.Cut(f.String(), "; "+asDelivered)
		said = append(said, strings.TrimPrefix(text, "b.rego: wanted "))
	}
	return r, said
}

// TestMETADATAIsRead to the last word.
func TestMETADATAIsRead(t *testing.T) {
	r, said := meant(t, described)
	require.Empty(t, said)
	assert.Equal(t, Rule{
		ID: "a/b", Title: "A title", Description: "A description.", Actions: []string{"slew", "home"}, Needs: []string{"roof", "drag"},
		Limits: []string{"low", "high"}, Facts: []string{"n", "o", "w", "t"},
	}, r.Rule)
	assert.Equal(t, map[string][]string{"slew": {"sky_target", "tracks"}}, r.custom.When)
	assert.Equal(t, verdict.NeedSample, r.custom.IfMissing)
	assert.Equal(t, map[string]code{
		"fine": {Fact: "n", Limit: "low", effect: "pass"},
		"bad":  {Fact: "t", Sentence: "It is bad.", Remedy: "Leave it.", effect: "deny"},
		"odd": {
			Fact: "o", Limit: 5.0, Sentence: "It is {value}, {n}, {about|none} and {miss} off {limit}.", Remedy: "Mend it.", effect: "hold",
			Need: []verdict.NeedKind{verdict.NeedHoming, verdict.NeedClock}, Remedies: map[string]string{"home": "Wait."},
		},
	}, r.codes)
	assert.Equal(t, []string{"value", "n", "about", "miss", "limit"}, holes(r.codes["odd"].Sentence))
	assert.Equal(t, "Wait.", r.codes["odd"].remedy("home"))
	assert.Equal(t, "Mend it.", r.codes["odd"].remedy("slew"))
}

// TestMETADATAThatIsWrong changes one thing at a time, and wants that named and nothing besides.
func TestMETADATAThatIsWrong(t *testing.T) {
	const head = "METADATA before the package, scope package, with title and description, got none"
	const actions = "[slew retreat sync track jog creep home park flip]"
	changes := map[string]struct {
		old, new string
		want     []string
	}{
		"no METADATA":            {described, "", []string{head}},
		"none of the package":    {"# scope: package\n", "# scope: subpackages\n", []string{head}},
		"no title":               {"# title: A title\n", "", []string{head}},
		"no description":         {"# description: A description.\n", "", []string{head}},
		"no schema":              {"# schemas:\n#   - input: schema.facts\n", "", []string{"schemas: input is schema.facts, got another schema or none"}},
		"two schemas":            {"#   - input: schema.facts\n", "#   - input: schema.facts\n#   - input.n: schema.facts\n", []string{"schemas: input is schema.facts, got another schema or none"}},
		"another schema":         {"input: schema.facts", "input: schema.fiction", []string{"schemas: input is schema.facts, got another schema or none"}},
		"an unknown key":         {"#   needs:", "#   kneads:", []string{`custom: actions, when, needs, if_missing, codes, got json: unknown field "kneads"`}},
		"a key of another type":  {"needs: [roof, drag]", "needs: 3", []string{"custom: actions, when, needs, if_missing, codes, got json: cannot unmarshal"}},
		"no actions":             {"#   actions: [slew, home]\n#   when: {slew: [sky_target, tracks]}\n", "", []string{"at least one action, and a known need in if_missing, got [], \"sample\"", "odd: remedies: some of [], got home"}},
		"an unknown action":      {"[slew, home]", "[slew, home, leap]", []string{"actions: some of " + actions + ", got leap"}},
		"unknown facts' need":    {"if_missing: sample", "if_missing: luck", []string{"at least one action, and a known need in if_missing, got [slew home], \"luck\""}},
		"no facts' need":         {"#   if_missing: sample\n", "", []string{"at least one action, and a known need in if_missing, got [slew home], \"\""}},
		"unknown equipment":      {"[roof, drag]", "[roof, dome]", []string{"needs: some of [drag neighbours roof], got dome"}},
		"an unknown trait":       {"[sky_target, tracks]", "[sky_target, slowly]", []string{"when slew: some of [sky_target tracks], got slowly"}},
		"when of another action": {"{slew: [sky_target, tracks]}", "{park: [tracks]}", []string{"when: some of [slew home], got park"}},
		"no code":                {"#     fine: {fact: n, limit: low}\n", "", []string{"METADATA of the code fine, got none"}},
		"a code too many":        {"#     fine:", "#     more: {fact: n}\n#     fine:", []string{"METADATA only of codes in the table, got more"}},
		"no fact":                {"{fact: n, limit: low}", "{limit: low}", []string{"fine: a fact that the rule reads, got "}},
		"another fact":           {"{fact: n, limit: low}", "{fact: m, limit: low}", []string{"fine: a fact that the rule reads, got m"}},
		"another limit":          {"{fact: n, limit: low}", "{fact: n, limit: mid}", []string{"fine: limit: some of [low high], got mid"}},
		"a limit of no kind":     {"{fact: n, limit: low}", "{fact: n, limit: [3]}", []string{"fine: limit is a name or a number, got [3]"}},
		"a limit that is true":   {"{fact: n, limit: low}", "{fact: n, limit: true}", []string{"fine: limit is a name or a number, got true"}},
		"a remedy elsewhere":     {`remedies: {home:`, `remedies: {park:`, []string{"odd: remedies: some of [slew home], got park"}},
		"an empty remedy":        {`{home: "Wait."}`, `{home: ""}`, []string{"odd: words in the remedies, got home without any"}},
		"no sentence":            {`sentence: "It is bad.", `, "", []string{"bad: a sentence and a remedy, got none"}},
		"no remedy":              {`, remedy: "Leave it."`, "", []string{"bad: a sentence and a remedy, got none"}},
		"a hold without need":    {"need: [homing, clock], ", "", []string{"odd: need on a hold, none on a deny, got []"}},
		"a deny with need":       {`remedy: "Leave it."`, `remedy: "Leave it.", need: [homing]`, []string{"bad: need on a hold, none on a deny, got [homing]"}},
		"an unknown need":        {"[homing, clock]", "[homing, wishing]", []string{"odd: a known need, got wishing"}},
		"an unknown hole":        {"{value}", "{valeu}", []string{"odd: {value}, {limit}, {miss}, {about|…} or a fact in the sentence, got valeu"}},
		"a pass with remedies":   {"{fact: n, limit: low}", `{fact: n, limit: low, remedies: {home: ""}}`, []string{"fine: words in the remedies, got home without any"}},
		"a pass with no words":   {"{fact: n, limit: low}", `{fact: n, limit: low, sentence: "{valeu}"}`, nil},
	}
	for _, what := range slices.Sorted(maps.Keys(changes)) {
		c := changes[what]
		require.Contains(t, described, c.old, what)
		_, said := meant(t, strings.Replace(described, c.old, c.new, 1))
		for i := range min(len(said), len(c.want)) {
			if strings.HasPrefix(said[i], c.want[i]) {
				said[i] = c.want[i]
			}
		}
		assert.Equal(t, c.want, said, what)
	}
}
