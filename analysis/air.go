package analysis

import (
	"errors"
	"math"
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

// SpeedOfSound returns the speed of sound in m/s.
func SpeedOfSound(temperatureC, humidityPercent float64) float64 { return math.NaN() }

// Resolve returns the air of one state: "" for the session as a whole, "empty", "flat" or "panel".
func (a AirInput) Resolve(state string) (Air, error) {
	return Air{}, errors.New("air: not written yet")
}
