package state

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/question"
	"keepclear.example/keepclear/service/internal/rig"
	"keepclear.example/keepclear/service/internal/unit"
	"keepclear.example/keepclear/service/internal/verdict"
)

// appendSeed chooses the bodies.
const appendSeed = 20261128

// fill puts something, now and then nothing, into every field of a value, whatever it is: a field that a later version adds is filled too.
func fill(g *rand.Rand, v reflect.Value, depth int) {
	texts := []string{"", "a", "north leg", "3.5° of 10″", `<b>&"\`, "line\nfeed", "\x7f\x00", "\u2028", string([]byte{0xff, 'x'}), "naïve 🙂"}
	numbers := []float64{0, math.Copysign(0, -1), 1, -1.5, 1e-6, 9.99e-7, 1e-9, -1e-100, 1e20, 1e21, 1.7e308, 5e-324, 0.1, g.NormFloat64(), g.NormFloat64() * 1e9}
	switch v.Kind() {
	case reflect.Pointer:
		if g.IntN(3) > 0 && depth < 6 {
			v.Set(reflect.New(v.Type().Elem()))
			fill(g, v.Elem(), depth+1)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			if g.IntN(4) > 0 {
				zones := []*time.Location{time.UTC, time.UTC, time.FixedZone("", 3600), time.FixedZone("", 0)}
				v.Set(reflect.ValueOf(time.Unix(g.Int64N(4e9), g.Int64N(1e9)).In(zones[g.IntN(len(zones))])))
			}
			return
		}
		for i := range v.NumField() {
			fill(g, v.Field(i), depth)
		}
	case reflect.Slice:
		if v.Type() == reflect.TypeFor[json.RawMessage]() {
			v.SetBytes([]byte(`null`))
			return
		}
		n := g.IntN(4) - 1 // now and then nil
		if n >= 0 && depth < 6 {
			v.Set(reflect.MakeSlice(v.Type(), n, n))
			for i := range n {
				fill(g, v.Index(i), depth+1)
			}
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(g, v.Index(i), depth+1)
		}
	case reflect.Map:
		if n := g.IntN(4) - 1; n >= 0 && depth < 6 {
			v.Set(reflect.MakeMap(v.Type()))
			for range n {
				key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
				fill(g, key, depth+1)
				fill(g, value, depth+1)
				v.SetMapIndex(key, value)
			}
		}
	case reflect.String:
		v.SetString(texts[g.IntN(len(texts))])
	case reflect.Float64:
		v.SetFloat(numbers[g.IntN(len(numbers))])
	case reflect.Float32:
		v.SetFloat(float64(float32(g.NormFloat64())))
	case reflect.Bool:
		v.SetBool(g.IntN(2) == 0)
	case reflect.Int, reflect.Int64:
		v.SetInt(g.Int64N(2000) - 1000)
	case reflect.Uint8, reflect.Uint32, reflect.Uint64:
		v.SetUint(g.Uint64N(200))
	default:
		panic("a kind of field that no body had before: " + v.Type().String())
	}
}

// What is appended is byte for byte what encoding/json writes, whatever stands in the fields.
func TestAppendedAsEncoded(t *testing.T) {
	g := rand.New(rand.NewPCG(appendSeed, 1))
	for n := range 500 {
		var b Body
		fill(g, reflect.ValueOf(&b).Elem(), 0)
		want, err := json.Marshal(b)
		require.NoError(t, err)
		got, err := b.append(nil)
		require.NoError(t, err)
		for i := range want {
			if i >= len(got) || got[i] != want[i] {
				t.Fatalf("body %d of seed %d: got %q, want %q", n, appendSeed, got[max(0, i-40):min(len(got), i+40)], want[max(0, i-40):min(len(want), i+40)])
			}
		}
		require.Len(t, got, len(want))
	}
}

// Every byte, and what JSON or a page may stumble over, alone in a plain text.
func TestTextsAreAppendedAsEncoded(t *testing.T) {
	odd := []string{"", "é", "\u2028", "\u2029", "\xff", "\xe2\x80", "\ufffd", "\U0001F52D"}
	for c := range 256 {
		odd = append(odd, string([]byte{byte(c)}), string(rune(c)))
	}
	for _, c := range odd {
		for _, text := range []string{c, "a" + c + "b", c + c} {
			want, err := json.Marshal(text)
			require.NoError(t, err)
			require.Equal(t, string(want), string(appendText(nil, text)), "%q", text)
		}
	}
}

// appended is what is written of a body, which is what encoding/json writes of it.
func appended(t *testing.T, b Body) string {
	t.Helper()
	want, err := json.Marshal(b)
	require.NoError(t, err)
	got, err := b.append(nil)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
	return string(got)
}

// Numbers of every length of exponent, and the counts next to none.
func TestNumbersAreAppendedAsEncoded(t *testing.T) {
	for exponent := -324; exponent <= 308; exponent++ {
		for _, digits := range []string{"1", "-1", "1.5", "9.999999999999999", "-7.25"} {
			v, err := strconv.ParseFloat(fmt.Sprint(digits, "e", exponent), 64)
			if err == nil {
				appended(t, Body{Facts: facts.Set{"a": {Number: &v}}})
			}
		}
	}
	for count := -2; count <= 2; count++ {
		appended(t, Body{Count: count})
	}
}

// Instants of every year that a clock may show, in every zone, are written as encoding/json does, or refused as it does.
func TestInstantsAreAppendedAsEncoded(t *testing.T) {
	for _, year := range []int{-1, 0, 1, 1969, 2026, 9999, 10000} {
		for _, zone := range []*time.Location{time.UTC, time.FixedZone("", 0), time.FixedZone("", -3600), time.FixedZone("", 3600+28), time.FixedZone("", 25*3600)} {
			at := time.Date(year, 7, 1, 12, 0, 0, 1, zone)
			b := Body{Facts: facts.Set{"a": {Instant: &at}}}
			if _, err := json.Marshal(b); err == nil {
				appended(t, b)
				continue
			}
			_, err := b.append(nil)
			require.ErrorContains(t, err, "instant: ", "%s", at)
		}
	}
}

// What most answers hold is plain, and is appended without a detour: into room that is there it takes no memory.
func TestPlainIsAppendedWithoutMemory(t *testing.T) {
	room := make([]byte, 0, 1<<10)
	for _, s := range []string{"north leg", "3.5° of 10″", "~{|}", "naïve 🙂"} {
		assert.Zero(t, testing.AllocsPerRun(10, func() { appendText(room, s) }), s)
	}
	for _, year := range []int{0, 2026, 9999} {
		for _, zone := range []*time.Location{time.UTC, time.Local, time.FixedZone("", 3600)} {
			at := time.Date(year, 7, 1, 12, 0, 0, 1, zone)
			assert.Zero(t, testing.AllocsPerRun(10, func() { o := object{b: room}; o.instant("instant", &at) }), "%s", at)
		}
	}
}

// A number that JSON does not know is an error, in a fact, in a finding, in where a permit ends and in what motors report, as it is to encoding/json.
func TestNoNumberIsNotAppended(t *testing.T) {
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for _, b := range []Body{
			{Facts: facts.Set{"a": {Number: &v}, "b": {}}},
			{Findings: []verdict.Finding{{Limit: &v}, {}}},
			{Findings: []verdict.Finding{{Fact: &verdict.Reading{Number: &v}}, {}}},
			{Snapshot: &question.Snapshot{Rig: question.RigState{Permit: &question.Permit{EndS: []float64{1, v}}}}},
			{Snapshot: &question.Snapshot{Rig: question.RigState{Permit: &question.Permit{Ends: []rig.Axes{{A1: unit.Angle(v)}}}}}},
			{Snapshot: &question.Snapshot{Rig: question.RigState{Sample: &question.Sample{Drag: [2]*float64{&v}}}}},
		} {
			_, err := json.Marshal(b)
			require.Error(t, err)
			_, err = b.append(nil)
			require.Error(t, err)
		}
	}
}

// BenchmarkBody encodes a body like that of an ordinary answer.
func BenchmarkBody(b *testing.B) {
	g := rand.New(rand.NewPCG(appendSeed, 2))
	one, at := 51.713794203841985, time.Unix(1.7e9, 123456789).UTC()
	x := Body{Facts: facts.Set{}, Revs: map[string]string{}, Request: Exchanged{"keepclear.v1.AskRequest", make([]byte, 350)}, Response: Exchanged{"keepclear.v1.AskResponse", make([]byte, 2700)}}
	for range 60 {
		name := string(rune('a'+g.IntN(26))) + "_fact_of_some_length_" + string(rune('a'+g.IntN(26))) + "_deg"
		x.Facts[name] = facts.Fact{Number: &one, Origin: facts.Computed, About: []string{"axis 1"}}
		if len(x.Findings) < 27 {
			x.Findings = append(x.Findings, verdict.Finding{Rule: "sky/floor", Effect: verdict.Passes, Code: "above_floor", Fact: &verdict.Reading{Name: name, Number: &one, Origin: facts.Computed}, Limit: &one, Unit: "deg", Instant: &at})
		}
	}
	b.Run("appended", func(b *testing.B) {
		var scratch []byte
		b.ReportAllocs()
		for b.Loop() {
			scratch, _ = x.append(scratch[:0])
		}
	})
	b.Run("encoding/json", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			_, _ = json.Marshal(x)
		}
	})
}
