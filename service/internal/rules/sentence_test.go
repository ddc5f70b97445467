package rules

import (
	"testing"

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
