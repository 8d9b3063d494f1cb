package analysis

import (
	"fmt"
	"math"
)

const (
	standardPressurePa = 101325
	carbonDioxide      = 400e-6 // mole fraction; 100 ppm change the speed by 0.01 m/s
	assumedCelsius     = 20     // where the survey says nothing
)

// AirInput is what the survey says about the air; Unknown where not given.
type AirInput struct {
	TemperatureC    Num // over the whole session
	HumidityPercent Num // relative
	SpeedOfSoundMS  Num // overrides temperature and humidity
	EmptyC          Num // temperature while that state was measured
	FlatC           Num
	PanelC          Num
}

// SpeedOfSoundISO9613 returns the speed of sound in m/s at a temperature in degrees Celsius:
// 343.2·√(T/293.15 K), ISO 9613-1:1993 (from memory, without the clause). Humidity is left out.
// NaN at or below absolute zero.
func SpeedOfSoundISO9613(temperatureC float64) float64 {
	return 343.2 * math.Sqrt((temperatureC+273.15)/293.15)
}

// SpeedOfSoundCramer returns the speed of sound in m/s in humid air: O. Cramer, J. Acoust. Soc. Am. 93 (1993) 2510,
// equation 15 with the coefficients of its table III, the saturation pressure of equation 16 and the enhancement factor of
// equation 17. Temperature in degrees Celsius, relative humidity in percent, pressure in pascals, carbon dioxide as a mole
// fraction. The paper states 300 ppm for 0 to 30 °C, 75 to 102 kPa, up to 6 % of water vapour and 1 % of carbon dioxide;
// outside, the polynomial is continued, which from −20 to 50 °C stays within 0.5 m/s of an ideal gas mixture.
func SpeedOfSoundCramer(temperatureC, humidityPercent, pressurePa, carbonDioxideFraction float64) float64 {
	t, p, xc := temperatureC, pressurePa, carbonDioxideFraction
	kelvin := t + 273.15
	enhancement := 1.00062 + 3.14e-8*p + 5.6e-7*t*t
	saturationPa := math.Exp(1.2811805e-5*kelvin*kelvin - 1.9509874e-2*kelvin + 34.04926034 - 6.3536311e3/kelvin)
	xw := humidityPercent / 100 * enhancement * saturationPa / p
	return 331.5024 + 0.603055*t - 0.000528*t*t +
		(51.471935+0.1495874*t-0.000782*t*t)*xw +
		(-1.82e-7+3.73e-8*t-2.93e-10*t*t)*p +
		(-85.20931-0.228525*t+5.91e-5*t*t)*xc -
		2.835149*xw*xw - 2.15e-13*p*p + 29.179762*xc*xc + 0.000486*xw*p*xc
}

// SpeedOfSound returns the speed of sound in m/s at a temperature in degrees Celsius: SpeedOfSoundCramer at 101.325 kPa
// and 400 ppm of carbon dioxide where the relative humidity in percent is given, SpeedOfSoundISO9613 where it is NaN.
func SpeedOfSound(temperatureC, humidityPercent float64) float64 {
	if math.IsNaN(humidityPercent) {
		return SpeedOfSoundISO9613(temperatureC)
	}
	return SpeedOfSoundCramer(temperatureC, humidityPercent, standardPressurePa, carbonDioxide)
}

// Resolve returns the air of one state: "" for the session as a whole, "empty", "flat" or "panel".
// A given speed of sound wins and then holds for every state. Otherwise the temperature is the state's own, else that of the
// session, else the mean of the states that have one, else an assumed 20 °C, which Air.Source then says.
// An unknown state, or air in which no speed of sound follows, is an error.
func (a AirInput) Resolve(state string) (Air, error) {
	ofState := map[string]Num{"": Unknown(), "empty": a.EmptyC, "flat": a.FlatC, "panel": a.PanelC}
	own, ok := ofState[state]
	if !ok {
		return Air{}, fmt.Errorf("air: found state %q, expected \"\", \"empty\", \"flat\" or \"panel\"", state)
	}
	air := Air{TemperatureC: own, HumidityPercent: a.HumidityPercent}
	if !air.TemperatureC.Known() {
		air.TemperatureC = a.TemperatureC
	}
	if !air.TemperatureC.Known() {
		air.TemperatureC = meanOfKnown(a.EmptyC, a.FlatC, a.PanelC)
	}
	if a.SpeedOfSoundMS.Known() {
		air.SpeedOfSoundMS, air.Source = float64(a.SpeedOfSoundMS), "survey"
	} else {
		air.Source = "ISO 9613-1"
		if air.HumidityPercent.Known() {
			air.Source = "Cramer 1993"
		}
		if !air.TemperatureC.Known() {
			air.TemperatureC = assumedCelsius
			air.Source += " at an assumed 20 °C"
		}
		air.SpeedOfSoundMS = SpeedOfSound(float64(air.TemperatureC), float64(air.HumidityPercent))
	}
	if !(air.SpeedOfSoundMS > 0) || math.IsInf(air.SpeedOfSoundMS, 0) {
		return Air{}, fmt.Errorf("air: no speed of sound follows from %g °C and %g %% humidity; check the survey's [air]",
			float64(air.TemperatureC), float64(air.HumidityPercent))
	}
	return air, nil
}

func meanOfKnown(values ...Num) Num {
	sum, n := 0.0, 0
	for _, v := range values {
		if v.Known() {
			sum += float64(v)
			n++
		}
	}
	if n == 0 {
		return Unknown()
	}
	return Num(sum / float64(n))
}
