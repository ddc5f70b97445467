package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/verdict"
)

// Numbers are written as a person would say them: in the unit that fits their size, a relative error in percent, with the minus of the
// keyboard, and with as many decimals as tell value and limit apart.
func TestNumbersInSentences(t *testing.T) {
	for _, c := range []struct {
		fact         string
		value, limit float64
		want         string
	}{
		{"altitude_min_deg", -4.25, -3, "-4.25° / -3° / 1.2°"},
		{"altitude_min_deg", -3.00004, -3, "-3.00004° / -3° / 0°"},
		{"scale_error_ratio", 0.0327, 0.02, "3.27 % / 2 % / 1.3 %"},
		{"scale_error_ratio", 0.0200001, 0.02, "2.00001 % / 2 % / 0 %"},
		{"residual_ratio", 1.5, 1, "1.5 / 1 / 0.5"},
		{"solve_age_s", 3601, 120, "60.02 min / 120 s / 58 min"},
		{"expected_offset_arcmin", 2700, 600, "45° / 10° / 35°"},
	} {
		f := verdict.Finding{Fact: &verdict.Reading{Name: c.fact, Number: &c.value}, Limit: &c.limit}
		assert.Equal(t, c.want, sentence("{value} / {limit} / {miss}", f, input{}), "%s %v against %v", c.fact, c.value, c.limit)
	}
}

// TestQuantitiesAsAPersonSaysThem: each unit, on both sides of where it changes, and of the smallest.
func TestQuantitiesAsAPersonSaysThem(t *testing.T) {
	for _, c := range []struct {
		fact     string
		v        float64
		decimals int
		want     string
	}{
		{"x_deg", 1.25, 2, "1.25°"}, {"x_arcmin", 119.9, 2, "119.9′"}, {"x_arcmin", 120, 2, "2°"}, {"x_arcmin", -120, 2, "-2°"}, {"x_arcmin", -119, 2, "-119′"}, {"x_arcmin", 150, 1, "2.5°"},
		{"x_arcsec", 3600, 2, "3600″"}, {"x_mm", -12.345, 1, "-12.3 mm"}, {"x_days", 365.5, 2, "365.5 days"}, {"x_error_ratio", 0.0327, 2, "3.27 %"}, {"x_ratio", 1.5, 2, "1.5"}, {"x_count", 12, 2, "12"},
		{"x_s", 599.9, 2, "599.9 s"}, {"x_s", 600, 2, "10 min"}, {"x_s", -600, 2, "-10 min"}, {"x_s", 7199, 0, "120 min"}, {"x_s", 7200, 2, "2 h"}, {"x_s", -9000, 2, "-2.5 h"}, {"x_s", 0, 2, "0 s"},
		{"x", 100, 0, "100"}, {"x", 100, 2, "100"}, {"x", 0, 2, "0"}, {"x", -0.0001, 1, "0"}, {"x", 0.04567, 2, "0.046"}, {"x", -0.04567, 2, "-0.046"}, {"x", 0.1, 2, "0.1"}, {"x", 0.1049, 2, "0.1"}, {"x", 0.0999, 2, "0.1"},
		{"x", 0.0000000004, 9, "0"}, {"x", 0.0000000016, 9, "0.000000002"}, {"x", 0.00000004, 8, "0.00000004"}, {"x", 10, 1, "10"},
	} {
		assert.Equal(t, c.want, number(c.v, spoken(c.fact), c.decimals), "%s of %v, %d decimals", c.fact, c.v, c.decimals)
	}
	for name, want := range map[string]string{"x_arcsec": "arcsec", "x_arcmin": "arcmin", "x_days": "days", "x_deg": "deg", "x_mm": "mm", "x_s": "s", "x_error_ratio": "", "stop_acts": "", "xs": "", "d2": ""} {
		assert.Equal(t, want, unitOf(name), name)
	}
}

// TestSentencesAreFilledIn with what there is.
func TestSentencesAreFilledIn(t *testing.T) {
	n, near, limit, word, yes, no, at := 3.0, 3+1e-12, 3.0, "known", true, false, time.Date(2026, 11, 25, 3, 4, 5, 6e8, time.FixedZone("east", 3600))
	fact := func(r verdict.Reading) verdict.Finding {
		r.Name = "x_deg"
		return verdict.Finding{Fact: &r, Limit: &limit}
	}
	const all = "{value}, {limit}, {miss}, {about|nobody}."
	with := func(f verdict.Finding, change func(*verdict.Finding)) verdict.Finding { change(&f); return f }
	for _, c := range []struct {
		template string
		f        verdict.Finding
		want     string
	}{
		{all, fact(verdict.Reading{Number: &n}), "3°, 3°, 0°, nobody."},
		{all, fact(verdict.Reading{Number: &near}), "3°, 3°, 0°, nobody."}, // nine decimals do not tell them apart
		{all, fact(verdict.Reading{Word: &word}), "known, 3°, some, nobody."},
		{all, fact(verdict.Reading{Truth: &yes}), "yes, 3°, some, nobody."},
		{all, fact(verdict.Reading{Truth: &no}), "no, 3°, some, nobody."},
		{all, fact(verdict.Reading{}), "not known, 3°, some, nobody."},
		{all, verdict.Finding{}, ", , some, nobody."},
		{all, with(fact(verdict.Reading{Number: &n}), func(f *verdict.Finding) { f.Limit = nil }), "3°, , some, nobody."},
		{all, with(fact(verdict.Reading{Number: &n}), func(f *verdict.Finding) { f.About = []string{"hub", "tube"} }), "3°, 3°, 0°, hub and tube."},
		{all, with(fact(verdict.Reading{Number: &n}), func(f *verdict.Finding) { f.Instant = &at }), "3°, 3°, 0°, nobody (at 02:04:05 UTC)."},
		{"As it is", verdict.Finding{Instant: &at}, "As it is (at 02:04:05 UTC)."},
		{"{about}", verdict.Finding{}, ""},
	} {
		assert.Equal(t, c.want, sentence(c.template, c.f, input{}), "%s of %+v", c.template, c.f.Fact)
	}
	s := loaded(t)
	f := good()
	f.Lack("pose_moving", "nobody looked", "")
	assert.Equal(t, "pose known, age 1.44 s, moving not known, no such thing not known", sentence("pose {pose_state}, age {pose_age_s}, moving {pose_moving}, no such thing {nothing}", verdict.Finding{}, s.lib.read(f)))
	value, shownLimit := shownPair(fact(verdict.Reading{Number: &near}))
	assert.Equal(t, []string{"3°", "3°"}, []string{value, shownLimit})
	off := 3.000000004
	value, shownLimit = shownPair(fact(verdict.Reading{Number: &off}))
	assert.Equal(t, []string{"3.000000004°", "3°"}, []string{value, shownLimit})
	for want, names := range map[string][]string{
		"": nil, "hub": {"hub"}, "hub and tube": {"hub", "tube"}, "hub, tube and camera": {"hub", "tube", "camera"}, "a: 1; b": {"a: 1", "b"}, "a, b; c; d": {"a, b", "c", "d"},
	} {
		assert.Equal(t, want, listed(names))
	}
}
