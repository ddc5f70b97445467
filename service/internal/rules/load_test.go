package rules

import (
	"errors"
	"io/fs"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/limits"
)

func TestLoadTakesThePolicies(t *testing.T) {
	s, err := Load(dirFS(), testLimits(t))
	require.NoError(t, err)
	require.Len(t, s.IDs(), 30)
}

// changed is the policies with one file in another text.
func changed(t *testing.T, name, old, text string) fstest.MapFS {
	t.Helper()
	files := copied(t)
	if old != "" {
		require.Contains(t, string(files[name].Data), old)
		text = strings.Replace(string(files[name].Data), old, text, 1)
	}
	files[name] = &fstest.MapFile{Data: []byte(text)}
	return files
}

// sound is one rule more, as it should be.
var sound = strings.Replace(askew, "{fact: lock_count, limit: 0}", `{fact: lock_count, limit: 0}
#     bad: {fact: lock_count, limit: 0, sentence: "It is {value}.", remedy: "Mend it."}`, 1)

// TestLoadNamesWhatIsWrong: file, line, what was wanted and what stands there, once each.
func TestLoadNamesWhatIsWrong(t *testing.T) {
	const floor, facts = "rules/sky/floor/floor.rego", schemaFile
	for what, c := range map[string]struct{ file, old, text, want string }{
		"no Rego":             {floor, "default finding :=", "default finding :=:", floor + ":51: wanted a rule in Rego, got unexpected : token;"},
		"nothing":             {floor, "", "# nothing\n", floor + ": wanted a rule in Rego, got error "},
		"another package":     {floor, "package rules.sky.floor", "package rules.sky.flor", floor + ": wanted package rules.sky.floor, got package rules.sky.flor"},
		"a misspelt fact":     {floor, "is_number(input.altitude_min_deg)", "is_number(input.altitude_mim_deg)", "undefined ref: input.altitude_mim_deg"},
		"an unused import":    {"rules/lock/none/none.rego", "package rules.lock.none\n", "package rules.lock.none\n\nimport data.limits.lock.none as limits\n", "import data.limits.lock.none as limits unused"},
		"another type":        {facts, `"type": "number"`, `"type": "string"`, "of type number in schema/facts.json, got type \"string\""},
		"a fact of no schema": {facts, `"lock_count"`, `"lock_counts"`, "rules/lock/none/none.rego: wanted the fact lock_count of type number in schema/facts.json, got type \"\""},
		"a schema of no JSON": {facts, "", "{", facts + ": wanted a JSON schema that allows no further facts, got error unexpected end"},
		"one of odd parts":    {facts, "", `{"additionalProperties": false, "properties": 3}`, facts + ": wanted a JSON schema that allows no further facts, got error json"},
		"an open schema":      {facts, `"additionalProperties": false`, `"additionalProperties": true`, facts + ": wanted a JSON schema that allows no further facts"},
		"the other side":      {badFile, "", strings.Replace(sound, "<= 0", ">= 0", 1), "rules/lock/none/none.rego: wanted one dangerous side of the fact lock_count in all rules, got the other one here"},
		"a later other side":  {"rules/zz/rule/rule.rego", "", strings.NewReplacer("<= 0", ">= 0", "rules.bad", "rules.zz").Replace(sound), "rules/zz/rule/rule.rego: wanted one dangerous side of the fact lock_count in all rules, got the other one here"},
		"the same side":       {badFile, "", sound, ""},
		"a truth twice":       {badFile, "", strings.NewReplacer("input.lock_count <= 0", "input.attended", "is_number(input.lock_count)", "is_boolean(input.attended)", "lock_count", "attended").Replace(sound), ""},
		"a stray file":        {"rules/sky/stray.rego", "", "package rules.sky.stray\n", "rules/sky/stray.rego: wanted rules/<area>/<rule>/<rule>.rego and its test, got another file"},
		"one too deep":        {"rules/sky/floor/deep/deep.rego", "", "package rules.sky.floor.deep\n", "rules/sky/floor/deep/deep.rego: wanted rules/<area>/<rule>/<rule>.rego and its test, got another file"},
		"one of another name": {"rules/sky/floor/more.rego", "", "package rules.sky.floor\n", "rules/sky/floor/more.rego: wanted rules/<area>/<rule>/<rule>.rego and its test, got another file"},
		"one rule less":       {"rules/sky/floor/floor_test.rego", "", "not read", ""},
	} {
		_, err := Load(changed(t, c.file, c.old, c.text), testLimits(t))
		if c.want == "" {
			assert.NoError(t, err, what)
			continue
		}
		require.ErrorIs(t, err, ErrFaulty, what)
		assert.Equal(t, 1, strings.Count(err.Error(), c.want), "%s: %v", what, err)
		assert.True(t, strings.HasPrefix(err.Error(), "loading rules: "), "%v", err)
	}
}

// TestMissingRulesAreNamed, with the actions that want them, and rules that do not judge where they must.
func TestMissingRulesAreNamed(t *testing.T) {
	files := copied(t)
	delete(files, "rules/sky/horizon/horizon.rego")
	_, err := Load(files, testLimits(t))
	require.ErrorIs(t, err, ErrFaulty)
	assert.ErrorContains(t, err, "rules/sky/horizon: wanted the rule, which [slew track flip] require, got none")
	_, err = Load(changed(t, "rules/sky/floor/floor.rego", "#   if_missing", "#   when: {slew: [sky_target]}\n#   if_missing"), testLimits(t))
	require.ErrorIs(t, err, ErrFaulty)
	for _, traits := range []string{"[]", "[tracks]"} {
		assert.ErrorContains(t, err, "rules/sky/floor/floor.rego: wanted METADATA that lets it judge slew "+traits+", where it is required, got not_sky_target")
	}
	assert.NotContains(t, err.Error(), "judge slew [sky_target")
	assert.NotContains(t, err.Error(), "judge retreat")
}

// unreadable is policies of which one file or folder cannot be read.
type unreadable struct {
	fs.FS
	name string
}

var errDisk = errors.New("the disk is gone")

func (u unreadable) Open(name string) (fs.File, error) {
	if name == u.name {
		return nil, errDisk
	}
	return u.FS.Open(name)
}

// TestPoliciesThatCannotBeReadAreNoFaultOfTheRules.
func TestPoliciesThatCannotBeReadAreNoFaultOfTheRules(t *testing.T) {
	for _, name := range []string{"rules", "rules/sky", "rules/sky/floor", "rules/sky/floor/floor.rego", schemaFile} {
		_, err := Load(unreadable{copied(t), name}, testLimits(t))
		require.ErrorIs(t, err, errDisk, name)
		assert.NotErrorIs(t, err, ErrFaulty, name)
		assert.ErrorContains(t, err, "loading rules: ", name)
	}
}

// TestDigestNamesRulesAndSchema: every byte of them, nothing else, and where it stands.
func TestDigestNamesRulesAndSchema(t *testing.T) {
	whole, err := Read(dirFS(), testLimits(t))
	require.NoError(t, err)
	again, err := Read(copied(t), testLimits(t, limits.Entry{Rule: "sky/floor", Name: "altitude_deg", Value: 5}))
	require.NoError(t, err)
	assert.Equal(t, whole.Digest(), again.Digest(), "the same rules under other limits")
	assert.NotEqual(t, [32]byte{}, whole.Digest())
	seen := map[[32]byte]string{whole.Digest(): "as it is"}
	for name, c := range map[string][2]string{
		"rules/sky/floor/floor.rego":          {"# title: ", "# title: A "},
		"rules/travel/axis2/axis2.rego":       {"# title: ", "# title: A "},
		schemaFile:                            {`"title": "`, `"title": "A `},
		"rules/sky/horizon/horizon_test.rego": {"package ", "# no more\npackage "},
		"rules/travel/axis1/axis1_test.rego":  {"package ", "# no more\npackage "},
		"limits/sky.yaml":                     {"title: ", "title: A "},
	} {
		s, err := Read(changed(t, name, c[0], c[1]), testLimits(t))
		require.NoError(t, err, name)
		if strings.HasSuffix(name, "_test.rego") || strings.HasPrefix(name, "limits/") {
			assert.Equal(t, whole.Digest(), s.Digest(), name)
			continue
		}
		assert.Empty(t, seen[s.Digest()], name)
		seen[s.Digest()] = name
	}
}

// TestRulesSayWhatTheyAreMadeOf: one of them to the last word.
func TestRulesSayWhatTheyAreMadeOf(t *testing.T) {
	s := loaded(t)
	floor := s.Rules()[slices.Index(s.IDs(), "sky/floor")]
	assert.Equal(t, "sky/floor", floor.ID)
	assert.Equal(t, []string{"slew", "retreat", "track", "jog", "creep", "home", "park", "flip"}, floor.RequiredFor)
	assert.Equal(t, []string{"altitude_deg"}, floor.Limits)
	assert.Equal(t, []string{"altitude_min_deg", "altitude_sharp_min_deg"}, floor.Facts)
	assert.NotEmpty(t, floor.Description)
	assert.Nil(t, s.lib.find("sky/flooring"))
	assert.Nil(t, s.lib.find("zz/last"))
}
