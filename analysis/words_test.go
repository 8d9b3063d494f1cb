package analysis

import "testing"

// The bands where a panel scatters better than the flat board need not lie side by side; what can't count is no part of them.
func TestBandsBetter(t *testing.T) {
	r := &run{result: &Result{}}
	for i, v := range []Num{0.3, 0.5, 0.1, 0.4, Unknown(), 0.6, 0.9} {
		centre := 1000 * float64(i+1)
		r.result.Bands = append(r.result.Bands, Band{CentreHz: centre, LowHz: centre - 500, HighHz: centre + 500, Usable: i < 6, Diffusion: Diffusion{Normalised: v}})
	}
	got := r.bandsBetter(func(d *Diffusion) Num { return d.Normalised })
	want := "It scatters clearly better than the flat board between 500\u00a0Hz and 2.5\u00a0kHz, between 3.5\u00a0kHz and 4.5\u00a0kHz and between 5.5\u00a0kHz and 6.5\u00a0kHz " +
		"(normalised diffusion coefficient above 0.2), best at 6\u00a0kHz (0.60)."
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := r.bandsBetter(func(d *Diffusion) Num { return Unknown() }); got != "" {
		t.Errorf("nothing known: %s", got)
	}
}
