package rules

import (
	"context"
	"io/fs"
	"slices"
	"testing"
	"time"

	"github.com/open-policy-agent/opa/v1/ast"
	"github.com/stretchr/testify/require"

	"keepclear.example/keepclear/policies"
	"keepclear.example/keepclear/service/internal/facts"
	"keepclear.example/keepclear/service/internal/limits"
	"keepclear.example/keepclear/service/internal/verdict"
)

func dirFS() fs.FS { return policies.Files() }

// testLimits are the defaults with an invented rig's travel.
func testLimits(t testing.TB, more ...limits.Entry) limits.Set {
	t.Helper()
	defs, err := limits.Read(dirFS())
	require.NoError(t, err)
	rig := limits.Layer{Name: "rig invented", File: "invented.yaml", Entries: append([]limits.Entry{
		{Rule: "travel/axis1", Name: "low_deg", Value: -95},
		{Rule: "travel/axis1", Name: "high_deg", Value: 95},
		{Rule: "travel/axis2", Name: "low_deg", Value: -120},
		{Rule: "travel/axis2", Name: "high_deg", Value: 120},
	}, more...)}
	s, err := limits.Merge(defs, rig)
	require.NoError(t, err)
	return s
}

// noon is the instant of every test question.
func noon() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }

// good are facts of a question that passes every rule; invented.
func good() facts.Set {
	s := facts.Set{}
	s.Word("pose_state", "known", facts.Computed)
	for name, v := range map[string]bool{"pose_moving": false, "polar_leans": false, "mirrored_wrong": false, "mirrored_unlike": false, "hint_matters": true, "sync_is_first": false, "attended": false, "stop_acts": true, "solve_expected": false, "picture_repeated": false, "picture_left": false} {
		s.Truth(name, v, facts.Told)
	}
	for name, v := range map[string]float64{
		"pose_age_s": 1.4372651, "pose_sigma_axis1_deg": 0.083172, "pose_sigma_axis2_deg": 0.0729183, "belief_error_sky_deg": 0.41726354,
		"end_spread_deg": 0.91827364, "clearance_spare_mm": 84.912837465, "clearance_sharp_spare_mm": 92.1827364,
		"closing_mm_per_deg": 0.0091827364, "closing_sharp_mm_per_deg": 0.0081827364,
		"axis1_travel_min_deg": -41.982736451, "axis1_travel_max_deg": 12.0192837, "axis1_sharp_min_deg": -41.72635, "axis1_sharp_max_deg": 11.827364,
		"axis2_travel_min_deg": -61.98273, "axis2_travel_max_deg": 35.1928374, "axis2_sharp_min_deg": -61.7263, "axis2_sharp_max_deg": 35.01827,
		"altitude_min_deg": 22.918273, "altitude_sharp_min_deg": 23.1928374, "above_horizon_deg": 31.827364, "above_horizon_sharp_deg": 31.927364,
		"sun_separation_deg": 121.92837, "sun_separation_sharp_deg": 122.1827, "track_spare_s": 5412.918273, "track_spare_sharp_s": 5498.18273,
		"unstopped_spare_s": 8812.9182, "solve_age_s": 14.29182, "exposure_motion_arcsec": 1.9281, "scale_error_ratio": 0.00182736, "rotation_error_deg": 0.38172,
		"matched_count": 83, "residual_ratio": 0.41827, "solve_altitude_deg": 51.9182, "hint_radius_deg": 180, "expected_offset_arcmin": 14.82736, "expected_offset_sharp_arcmin": 14.82736, "offset_d2": 1.98273, "walk_sigma": 0.9182, "run_sigma": 1.2817, "drift_sigma": 0.4172,
		"pictures_lacking_count": 0, "sync_jump_axis1_deg": 0.28172, "sync_jump_axis2_deg": 0.1726, "sync_sum_axis1_deg": 0.6172, "sync_sum_axis2_deg": 0.2817, "sync_10min_count": 1, "given_off_arcmin": 0.91827,
		"clock_skew_s": 0.0391827, "clock_error_s": 0.0128, "mount_map_error_deg": 0.01827, "lock_count": 0, "proof_residual_mm": 4.1827, "proof_age_days": 61.827,
	} {
		s.Number(name, v, facts.Computed)
	}
	return s
}

// slew is a question that 17 rules judge.
func slew() Subject {
	return Subject{Action: Slew, Traits: []string{SkyTarget, Tracks}, Lacks: []string{"roof", "neighbours", "drag"}}
}

// everything is judged by every rule.
func everything() Subject {
	return Subject{Action: "everything", Traits: []string{SkyTarget, Tracks}, Lacks: []string{"roof", "neighbours", "drag"}}
}

// loaded is the set as it is delivered. It is patient: a test on a busy machine must not take its slowness for a fault.
func loaded(t testing.TB) *Set {
	t.Helper()
	s, err := Load(dirFS(), testLimits(t))
	require.NoError(t, err)
	s.bound.patience = patience{query: time.Minute, question: time.Minute}
	return s
}

// allOf wants every rule to judge.
func allOf(s *Set) []bool { return slices.Repeat([]bool{true}, len(s.lib.rules)) }

// inputOf is facts that are given as OPA would read them.
func inputOf(l *library, document ast.Value) input {
	in := input{lib: l, values: make([]ast.Value, len(l.facts)), readings: make([]verdict.Reading, len(l.facts))}
	for i, k := range l.facts {
		if v := document.(ast.Object).Get(k.key); v != nil {
			in.values[i] = v.Value
		}
	}
	return in
}

// contextThatIsOver is a context whose asker is gone.
func contextThatIsOver(t testing.TB) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	return ctx, cancel
}
