package analysis

import (
	"math"
	"testing"
)

// near fails where got is further than tolerance from want; why says in words what the tolerance allows for.
func near(t *testing.T, what string, got, want, tolerance float64, why string) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.6g, want %.6g ± %.2g (%s)", what, got, want, tolerance, why)
	}
}

// atMost fails where got is above limit or unknown.
func atMost(t *testing.T, what string, got, limit float64, why string) {
	t.Helper()
	if !(got <= limit) {
		t.Errorf("%s: got %.4g, want at most %.4g (%s)", what, got, limit, why)
	}
}
