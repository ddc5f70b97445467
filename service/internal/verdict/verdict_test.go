package verdict

import (
	"encoding/json"
	"math/rand"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// said makes findings of rules a, b, c … with these effects.
func said(effects ...Effect) []Finding {
	var out []Finding
	for i, e := range effects {
		out = append(out, Finding{Rule: string(rune('a' + i)), Effect: e})
	}
	return out
}

func TestCombine(t *testing.T) {
	abc := []string{"a", "b", "c"}
	a := []string{"a"}
	cases := []struct {
		what             string
		findings         []Finding
		loaded, required []string
		want             Verdict
	}{
		{"all pass", said(Passes, Passes, Passes), abc, a, Allow},
		{"others do not apply", said(Passes, NotApplicable, NotApplicable), abc, a, Allow},
		{"one hold", said(Passes, Holds, Passes), abc, a, Hold},
		{"one deny", said(Passes, Denies, Passes), abc, a, Deny},
		{"deny beside hold", said(Holds, Denies, Holds), abc, a, Deny},
		{"hold beside deny, other order", said(Denies, Holds, Holds), abc, a, Deny},
		{"required does not apply", said(NotApplicable, Passes, Passes), abc, a, Hold},
		{"required is not loaded", said(Passes, Passes, Passes), abc, []string{"a", "d"}, Hold},
		{"none required", said(Passes, Passes, Passes), abc, nil, Hold},
		{"no findings", nil, abc, a, Hold},
		{"nothing loaded", said(Passes), nil, nil, Hold},
		{"nothing at all", nil, nil, nil, Hold},
		{"one did not answer", said(Passes, Passes), abc, a, Hold},
		{"a finding too many", said(Passes, Passes, Passes, Passes), abc, a, Hold},
		{"a deny of a rule that is not loaded", said(Passes, Passes, Passes, Denies), abc, a, Deny},
		{"answered twice", append(said(Passes, Passes, Passes), Finding{Rule: "a", Effect: Passes}), abc, a, Hold},
		{"answered twice, another missing", append(said(Passes, Passes), Finding{Rule: "a", Effect: Passes}), abc, a, Hold},
		{"effect that nobody knows", said(Passes, "allow", Passes), abc, a, Hold},
		{"empty effect", said(Passes, "", Passes), abc, a, Hold},
		{"capitals", said(Passes, "PASS", Passes), abc, a, Hold},
		{"loaded twice in the list", said(Passes, Passes, Passes), []string{"a", "b", "c", "c"}, a, Allow},
	}
	for _, c := range cases {
		assert.Equal(t, c.want, Combine(c.findings, c.loaded, c.required), c.what)
	}
}

// TestCombineNeverSoftens: whatever is added to findings or taken from them, a non-allow never becomes an allow unless every
// loaded rule is answered by pass or "not applicable".
func TestCombineNeverSoftens(t *testing.T) {
	effects := []Effect{Passes, Holds, Denies, NotApplicable, "", "unheard of"}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 6).Draw(t, "rules")
		var loaded []string
		for i := range n {
			loaded = append(loaded, string(rune('a'+i)))
		}
		findings := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Finding {
			return Finding{Rule: string(rune('a' + rapid.IntRange(0, 6).Draw(t, "rule"))), Effect: rapid.SampledFrom(effects).Draw(t, "effect")}
		}), 0, 8).Draw(t, "findings")
		required := rapid.SliceOfN(rapid.SampledFrom([]string{"a", "b", "c"}), 0, 3).Draw(t, "required")
		got := Combine(findings, loaded, required)
		clean, denied := len(findings) == n && n > 0 && len(required) > 0, false
		count := map[string]int{}
		for _, f := range findings {
			clean = clean && (f.Effect == Passes || f.Effect == NotApplicable)
			denied = denied || f.Effect == Denies
			count[f.Rule]++
			for _, id := range required {
				clean = clean && (f.Rule != id || f.Effect == Passes)
			}
		}
		for _, id := range append(append([]string{}, loaded...), required...) {
			clean = clean && count[id] == 1
		}
		want := Hold
		if denied {
			want = Deny
		} else if clean {
			want = Allow
		}
		require.Equalf(t, want, got, "Combine(%v, %v, %v)", findings, loaded, required)
	})
}

func TestSortAndGravest(t *testing.T) {
	f := []Finding{{Rule: "d", Effect: NotApplicable}, {Rule: "c", Effect: Passes}, {Rule: "b", Effect: Holds}, {Rule: "a", Effect: Holds}, {Rule: "e", Effect: Denies}, {Rule: "f", Effect: "?"}}
	rand.New(rand.NewSource(1)).Shuffle(len(f), func(i, j int) { f[i], f[j] = f[j], f[i] })
	g, ok := Gravest(f)
	require.True(t, ok)
	assert.Equal(t, "e", g.Rule)
	Sort(f)
	var ids string
	for _, x := range f {
		ids += x.Rule
	}
	assert.Equal(t, "eabfcd", ids)
	g, ok = Gravest(f[1:])
	require.True(t, ok)
	assert.Equal(t, "a", g.Rule)
	_, ok = Gravest(said(Passes, NotApplicable))
	assert.False(t, ok)
}

func TestNeedsOnce(t *testing.T) {
	home := Need{Kind: NeedHoming, Sentence: "Home the rig."}
	f := []Finding{{Needs: []Need{home, {Kind: NeedRelease, About: "lock-2"}}}, {Needs: []Need{home, {Kind: NeedRelease, About: "lock-1"}, {Kind: NeedClock}}}}
	assert.Equal(t, []Need{{Kind: NeedClock}, home, {Kind: NeedRelease, About: "lock-1"}, {Kind: NeedRelease, About: "lock-2"}}, Needs(f))
	f = []Finding{
		{Rule: "end/bounded", Effect: Holds, Needs: []Need{{Kind: NeedHoming, Sentence: "Home it, or else."}}},
		{Rule: "pose/known", Effect: Holds, Needs: []Need{home, {Kind: NeedPermitEnd, Sentence: "Wait.", About: "p1"}}},
		{Rule: "pose/sharp", Effect: Holds, Needs: []Need{{Kind: NeedHoming, Sentence: "Home it again."}, {Kind: NeedPermitEnd, Sentence: "Wait.", About: "p2"}}},
	}
	assert.Equal(t, []Need{home, {Kind: NeedPermitEnd, Sentence: "Wait.", About: "p1"}, {Kind: NeedPermitEnd, Sentence: "Wait.", About: "p2"}}, Needs(f), "the cause says it best")
	assert.Equal(t, "end/bounded", f[0].Rule, "the caller's order stays")
	assert.False(t, NeedKind("wish").Known())
	for _, k := range NeedKinds() {
		assert.True(t, k.Known())
	}
}

// TestFindingOnRecord pins the bytes that go into the record: a change here is a change of format.
func TestFindingOnRecord(t *testing.T) {
	v, limit, at := -4.25, -3.0, time.Date(2026, 11, 25, 21, 32, 5, 0, time.UTC)
	f := Finding{Rule: "sky/floor", Effect: Denies, Code: "below_floor", Fact: &Reading{Name: "altitude_sharp_min_deg", Number: &v, Origin: "computed"}, Limit: &limit, Unit: "deg", About: []string{"axis 2"}, Instant: &at, Sentence: "S.", Remedy: "R.", Needs: []Need{{Kind: NeedHoming, Sentence: "R."}}}
	text, err := json.Marshal(f)
	require.NoError(t, err)
	assert.Equal(t, `{"rule":"sky/floor","effect":"deny","code":"below_floor","fact":{"name":"altitude_sharp_min_deg","number":-4.25,"origin":"computed"},"limit":-3,"unit":"deg","about":["axis 2"],"instant":"2026-11-25T21:32:05Z","sentence":"S.","remedy":"R.","needs":[{"kind":"homing","sentence":"R."}]}`, string(text))
	var back Finding
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, f, back)
}
