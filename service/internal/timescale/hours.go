package timescale

import (
	"fmt"
	"math"
	"time"
)

// LikelyHours names a difference of times that is nearly whole hours: what summer time and zones make. Within 2.5 minutes, what a
// picture or a message may be late by. Empty where it is not.
func LikelyHours(d time.Duration) string {
	n := math.Round(d.Abs().Hours())
	if n < 1 || n > 14 || math.Abs(d.Abs().Hours()-n) > 2.5/60 {
		return ""
	}
	if n == 1 {
		return "looks like one hour: summer time or zone"
	}
	return fmt.Sprintf("looks like %.0f hours: summer time or zone", n)
}
