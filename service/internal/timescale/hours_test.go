package timescale_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"keepclear.example/keepclear/service/internal/timescale"
)

// A difference of whole hours within two and a half minutes is named, either way round, up to the farthest zone.
func TestLikelyHours(t *testing.T) {
	for d, want := range map[time.Duration]string{
		time.Hour:                      "looks like one hour: summer time or zone",
		-time.Hour - 149*time.Second:   "looks like one hour: summer time or zone",
		time.Hour + 151*time.Second:    "",
		5*time.Hour - 149*time.Second:  "looks like 5 hours: summer time or zone",
		14 * time.Hour:                 "looks like 14 hours: summer time or zone",
		15 * time.Hour:                 "",
		2 * time.Minute:                "",
		5*time.Hour + 30*time.Minute:   "",
		-14*time.Hour - 10*time.Second: "looks like 14 hours: summer time or zone",
	} {
		assert.Equal(t, want, timescale.LikelyHours(d), d)
	}
}
