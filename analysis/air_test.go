package analysis

import (
	"math"
	"testing"
)

// Values computed in high precision from the formulas named; see the functions for the sources.
func TestSpeedOfSound(t *testing.T) {
	nan := math.NaN()
	const table = 0.0005 // the table's last digit
	for _, c := range []struct {
		what      string
		got, want float64
		tolerance float64
	}{
		{"ISO 9613-1, 0 °C", SpeedOfSound(0, nan), 331.286, table},
		{"ISO 9613-1, 20 °C", SpeedOfSound(20, nan), 343.200, table},
		{"ISO 9613-1, 25 °C", SpeedOfSound(25, nan), 346.114, table},
		{"Cramer 1993, dry, 314 ppm, 0 °C", SpeedOfSoundCramer(0, 0, 101325, 314e-6), 331.455, table},
		{"Cramer 1993, dry, 314 ppm, 20 °C", SpeedOfSoundCramer(20, 0, 101325, 314e-6), 343.367, table},
		{"Cramer 1993, dry, 314 ppm, 25 °C", SpeedOfSoundCramer(25, 0, 101325, 314e-6), 346.276, table},
		{"Cramer 1993, 50 %, 400 ppm, 0 °C", SpeedOfSound(0, 50), 331.604, table},
		{"Cramer 1993, 50 %, 400 ppm, 20 °C", SpeedOfSound(20, 50), 343.987, table},
		{"Cramer 1993, 50 %, 400 ppm, 25 °C", SpeedOfSound(25, 50), 347.127, table},
	} {
		if !(math.Abs(c.got-c.want) <= c.tolerance) {
			t.Errorf("%s: got %.4f m/s, want %.3f", c.what, c.got, c.want)
		}
	}
}

// An independent way to the speed in humid air: an ideal mixture of dry air and vapour, c² = γRT/M, with the vapour's saturation
// pressure after Magnus (Sonntag 1990's coefficients, from memory: 6.112 hPa, 17.62, 243.12 °C) and molar heat capacities
// of 3.495 R and 4.04 R (handbook values near room temperature, from memory).
func TestSpeedOfSoundAgainstIdealGas(t *testing.T) {
	const gasConstant = 8.314462618
	for celsius := -20.0; celsius <= 50; celsius += 5 {
		for humidity := 0.0; humidity <= 100; humidity += 25 {
			vapour := humidity / 100 * 611.2 * math.Exp(17.62*celsius/(243.12+celsius)) / 101325
			heat := (1-vapour)*3.495 + vapour*4.04 // at constant pressure, in units of R
			molar := (1-vapour)*0.0289655 + vapour*0.01801528
			want := math.Sqrt(heat / (heat - 1) * gasConstant * (celsius + 273.15) / molar)
			// The mixture is not quite ideal: 0.1 m/s in the range of Cramer's fit, 0.5 m/s where his polynomial is continued.
			tolerance := 0.1
			if celsius < 0 || celsius > 30 {
				tolerance = 0.5
			}
			if got := SpeedOfSound(celsius, humidity); !(math.Abs(got-want) <= tolerance) {
				t.Errorf("%g °C, %g %%: got %.3f m/s, an ideal mixture has %.3f", celsius, humidity, got, want)
			}
		}
	}
}

func TestResolveAir(t *testing.T) {
	no := Unknown()
	for _, c := range []struct {
		what   string
		air    AirInput
		state  string
		speed  float64
		tempC  Num
		source string
	}{
		{"nothing given", AirInput{no, no, no, no, no, no}, "", 343.2, 20, "ISO 9613-1 at an assumed 20 °C"},
		{"humidity alone", AirInput{no, 50, no, no, no, no}, "panel", 343.987, 20, "Cramer 1993 at an assumed 20 °C"},
		{"temperature", AirInput{25, no, no, no, no, no}, "flat", 346.114, 25, "ISO 9613-1"},
		{"temperature and humidity", AirInput{25, 50, no, no, no, no}, "", 347.127, 25, "Cramer 1993"},
		{"speed wins", AirInput{25, 50, 340, no, no, 0}, "panel", 340, 0, "survey"},
		{"speed alone", AirInput{no, no, 340, no, no, no}, "", 340, no, "survey"},
		{"a state's own", AirInput{20, no, no, 0, no, 25}, "empty", 331.286, 0, "ISO 9613-1"},
		{"another state's", AirInput{20, no, no, 0, no, 25}, "panel", 346.114, 25, "ISO 9613-1"},
		{"a state without its own", AirInput{20, no, no, 0, no, 25}, "flat", 343.2, 20, "ISO 9613-1"},
		{"the session, from its states", AirInput{no, no, no, 15, no, 25}, "", 343.2, 20, "ISO 9613-1"},
		{"a state, from the others", AirInput{no, no, no, 15, no, 25}, "flat", 343.2, 20, "ISO 9613-1"},
	} {
		got, err := c.air.Resolve(c.state)
		if err != nil {
			t.Errorf("%s: %v", c.what, err)
			continue
		}
		sameC := got.TemperatureC == c.tempC || !got.TemperatureC.Known() && !c.tempC.Known()
		// 0.0005 m/s is the table's last digit.
		if math.Abs(got.SpeedOfSoundMS-c.speed) > 0.0005 || !sameC || got.Source != c.source {
			t.Errorf("%s: got %+v, want %g m/s, %g °C, %s", c.what, got, c.speed, float64(c.tempC), c.source)
		}
	}
}

func TestResolveAirErrors(t *testing.T) {
	if _, err := (AirInput{}).Resolve("full"); err == nil {
		t.Error("an unknown state gave no error")
	}
	no := Unknown()
	if air, err := (AirInput{-300, no, no, no, no, no}).Resolve(""); err == nil {
		t.Errorf("below absolute zero: got %+v", air)
	}
	if air, err := (AirInput{20, no, Num(-1), no, no, no}).Resolve(""); err == nil {
		t.Errorf("negative speed: got %+v", air)
	}
}
