package rules

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"regexp"
	"slices"

	"github.com/open-policy-agent/opa/v1/ast"

	"keepclear.example/keepclear/service/internal/verdict"
)

// Rule is what the METADATA and the source of a loaded rule say of it.
type Rule struct {
	ID          string   // area/name
	Title       string   // one line
	Description string   // what it compares and why
	Actions     []string // that it judges
	RequiredFor []string // actions that may not be asked without it
	Needs       []string // equipment; where the rig lacks it the rule is not applicable
	Limits      []string // names of the limits that it compares with
	Facts       []string // that it reads
}

// rule is a loaded rule with what Judge needs.
type rule struct {
	Rule
	file   string
	module *ast.Module
	source source
	custom custom
	codes  map[string]code
}

// custom is the part of METADATA that is ours.
type custom struct {
	Actions   []string            `json:"actions"`
	When      map[string][]string `json:"when"` // of an action: traits that the question must have
	Needs     []string            `json:"needs"`
	IfMissing verdict.NeedKind    `json:"if_missing"` // what supplies its facts, where the missing fact does not say
	Codes     map[string]code     `json:"codes"`
}

// code is what METADATA says of one code.
type code struct {
	Fact     string             `json:"fact"`  // that decided
	Limit    any                `json:"limit"` // name below the rule's limits, or a number
	Sentence string             `json:"sentence"`
	Remedy   string             `json:"remedy"`
	Remedies map[string]string  `json:"remedies"` // of actions that the remedy does not fit
	Need     []verdict.NeedKind `json:"need"`
	Homed    *homed             `json:"homed"` // nil: homing helps, or is none of the remedies
	effect   string
}

// homed is what METADATA says of a code whose remedy is homing, for where homing as the rig file has it would leave the finding as it is.
type homed struct {
	Sharp    string             `json:"sharp"` // the fact without the pose's uncertainty; empty: it is that uncertainty, which is then 0
	Remedy   string             `json:"remedy"`
	Remedies map[string]string  `json:"remedies"`
	Need     []verdict.NeedKind `json:"need"`
}

// remedy is what a person does about the code where this action was asked for.
func (c code) remedy(action string) string {
	return remedyFor(action, c.Remedies, c.Remedy)
}

func remedyFor(action string, own map[string]string, usual string) string {
	if words := own[action]; words != "" {
		return words
	}
	return usual
}

// readMeta reads the METADATA of a rule and checks it against the source.
func readMeta(r *rule) Faults {
	c := metaCheck{rule: r}
	a := packageAnnotation(r.module)
	if a == nil || a.Title == "" || a.Description == "" {
		c.bad("METADATA before the package, scope package, with title and description", "none")
		return c.faults
	}
	if len(a.Schemas) != 1 || a.Schemas[0].Schema.String() != "schema.facts" {
		c.bad("schemas: input is schema.facts", "another schema or none")
	}
	text, err := json.Marshal(a.Custom)
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err == nil {
		err = dec.Decode(&r.custom)
	}
	if err != nil {
		c.bad("custom: actions, when, needs, if_missing, codes", err.Error())
		return c.faults
	}
	r.Rule = Rule{ID: r.ID, Title: a.Title, Description: a.Description, Actions: r.custom.Actions, RequiredFor: requiredFor(r.ID), Needs: r.custom.Needs, Limits: r.source.limits, Facts: r.source.order}
	c.applicability()
	c.codes()
	return c.faults
}

func packageAnnotation(m *ast.Module) *ast.Annotations {
	for _, a := range m.Annotations {
		if a.Scope == "package" {
			return a
		}
	}
	return nil
}

// metaCheck gathers what is wrong with one rule's METADATA.
type metaCheck struct {
	rule   *rule
	faults Faults
}

func (c *metaCheck) bad(wanted, got string) {
	c.faults = append(c.faults, Fault{File: c.rule.file, Wanted: wanted, Got: got, Remedy: asDelivered})
}

// applicability wants known words.
func (c *metaCheck) applicability() {
	m := c.rule.custom
	if len(m.Actions) == 0 || !m.IfMissing.Known() {
		c.bad("at least one action, and a known need in if_missing", fmt.Sprintf("%v, %q", m.Actions, m.IfMissing))
	}
	c.words("actions", m.Actions, actions())
	c.words("needs", m.Needs, things())
	for _, action := range slices.Sorted(maps.Keys(m.When)) {
		c.words("when", []string{action}, m.Actions)
		c.words("when "+action, m.When[action], []string{"sky_target", "tracks"})
	}
}

func (c *metaCheck) words(key string, got, known []string) {
	for _, w := range got {
		if !slices.Contains(known, w) {
			c.bad(fmt.Sprintf("%s: some of %v", key, known), w)
		}
	}
}

// codes wants METADATA for exactly the codes of the table, each complete.
func (c *metaCheck) codes() {
	c.rule.codes = map[string]code{}
	for _, cell := range c.rule.source.cells {
		m, ok := c.rule.custom.Codes[cell.code]
		if !ok {
			c.bad("METADATA of the code "+cell.code, "none")
			continue
		}
		m.effect = cell.effect
		c.rule.codes[cell.code] = m
	}
	for _, name := range slices.Sorted(maps.Keys(c.rule.custom.Codes)) {
		m, used := c.rule.codes[name]
		if !used {
			c.bad("METADATA only of codes in the table", name)
			continue
		}
		c.code(name, m)
	}
}

// code wants a fact that the rule reads, a limit that it compares with or a number, and words for all but a pass.
func (c *metaCheck) code(name string, m code) {
	if !slices.Contains(c.rule.source.order, m.Fact) {
		c.bad(name+": a fact that the rule reads", m.Fact)
	}
	switch limit := m.Limit.(type) {
	case nil, float64:
	case string:
		c.words(name+": limit", []string{limit}, c.rule.source.limits)
	default:
		c.bad(name+": limit is a name or a number", fmt.Sprint(limit))
	}
	c.words(name+": remedies", sortedKeys(m.Remedies), c.rule.custom.Actions)
	for _, action := range sortedKeys(m.Remedies) {
		if m.Remedies[action] == "" {
			c.bad(name+": words in the remedies", action+" without any")
		}
	}
	if m.effect == "pass" {
		return
	}
	if m.Sentence == "" || m.Remedy == "" {
		c.bad(name+": a sentence and a remedy", "none")
	}
	if (len(m.Need) > 0) != (m.effect == "hold") {
		c.bad(name+": need on a hold, none on a deny", fmt.Sprint(m.Need))
	}
	for _, n := range m.Need {
		if !n.Known() {
			c.bad(name+": a known need", string(n))
		}
	}
	c.homed(name, m)
	for _, hole := range holes(m.Sentence) {
		if !slices.Contains([]string{"value", "limit", "miss", "about"}, hole) && !slices.Contains(c.rule.source.order, hole) {
			c.bad(name+": {value}, {limit}, {miss}, {about|…} or a fact in the sentence", hole)
		}
	}
}

// homed wants words and known needs for where homing does not help, of a hold that a fact's uncertainty makes.
func (c *metaCheck) homed(name string, m code) {
	h := m.Homed
	if h == nil {
		return
	}
	if m.effect != "hold" || m.Limit == nil {
		c.bad(name+": homed on a hold that a limit makes", m.effect)
	}
	if h.Sharp != "" && !slices.Contains(c.rule.source.order, h.Sharp) {
		c.bad(name+": homed: a sharp fact that the rule reads", h.Sharp)
	}
	c.words(name+": homed: remedies", sortedKeys(h.Remedies), c.rule.custom.Actions)
	if h.Remedy == "" || len(h.Need) == 0 {
		c.bad(name+": homed: a remedy and a need", "none")
	}
	for _, n := range h.Need {
		if !n.Known() {
			c.bad(name+": homed: a known need", string(n))
		}
	}
}

// holePattern matches {name} and {name|stand-in}.
var holePattern = regexp.MustCompile(`\{([a-z0-9_]+)(?:\|([^}]*))?\}`)

// holes returns the names that a sentence is filled in with.
func holes(sentence string) []string {
	var names []string
	for _, m := range holePattern.FindAllStringSubmatch(sentence, -1) {
		names = append(names, m[1])
	}
	return names
}
