package dsp

import (
	"fmt"
	"math"
	"slices"
)

// The regularisation. The response is wanted with the phase of the room and nothing added, so its pass band is real and
// positive (zero phase) and known in closed form: edges of a sixth of an octave inside the band of the sweep, where the sweep
// has power. Within the band the division is exact wherever the sweep's power is above −60 dB of its mean.
const (
	passEdgeOctaves = 1.0 / 6
	powerFloor      = 1e-6
	maxSegmentBytes = 4 << 30 // spectra of one segment, some five arrays of its length
)

// Inverse divides an excitation out of recordings. It holds G(f) = W(f) S*(f) / (|S(f)|² + ε(f)), S being the excitation's
// spectrum: Tikhonov's regularisation (Tikhonov 1963; for sweeps Farina, AES preprint 5093, 2000, names the division) with
// ε(f) = max(0, 10⁻⁶ P − |S(f)|²), P the mean of |S|² over the band, and the pass band W of PassBand. It is not changed by
// use: safe for concurrent use.
type Inverse struct {
	excitation            *Excitation
	flatLowHz, flatHighHz float64
	size                  int
	spectrum              []complex128 // G
	filter                *filter      // by G
	played                []complex128 // S
}

// NewInverse prepares the division for segments of a recording as long as the excitation and tailS seconds, the time in which
// the room dies away. Errors: an excitation without samples, rate, band or power, and lengths beyond what memory should hold.
func NewInverse(e *Excitation, tailS float64) (*Inverse, error) {
	switch {
	case e == nil || len(e.Samples) == 0:
		return nil, fmt.Errorf("deconvolution: the played signal has no samples")
	case !(e.SampleRateHz > 0) || math.IsInf(e.SampleRateHz, 0):
		return nil, fmt.Errorf("deconvolution: the played signal's sample rate is %g Hz: a number above 0 is needed", e.SampleRateHz)
	case !(e.LowHz > 0 && e.HighHz >= 2*e.LowHz && e.HighHz <= e.SampleRateHz/2):
		return nil, fmt.Errorf("deconvolution: the played signal's band is %g to %g Hz at %g Hz sample rate: at least an octave below half the rate is needed",
			e.LowHz, e.HighHz, e.SampleRateHz)
	case !(tailS >= 0):
		return nil, fmt.Errorf("deconvolution: a tail of %g s: 0 or more is needed", tailS)
	}
	length := float64(len(e.Samples)) + tailS*e.SampleRateHz
	if length*5*8 > maxSegmentBytes {
		return nil, fmt.Errorf("deconvolution: %.4g s of sweep and tail at %g Hz would need %.2g GB: use a shorter sweep or tail, or a lower sample rate",
			length/e.SampleRateHz, e.SampleRateHz, length*5*8/1e9)
	}
	v := &Inverse{excitation: e, size: SmoothLength(int(math.Ceil(length))), flatLowHz: e.LowHz * math.Exp2(passEdgeOctaves), flatHighHz: e.HighHz * math.Exp2(-passEdgeOctaves)}
	v.played = RealSpectrum(e.Samples, v.size)
	v.spectrum = make([]complex128, len(v.played))
	mean, count := 0.0, 0
	for k, s := range v.played {
		w := v.PassBand(v.binHz(k))
		v.spectrum[k] = complex(w, 0)
		if w == 1 {
			mean += power(s)
			count++
		}
	}
	if !(mean > 0) {
		return nil, fmt.Errorf("deconvolution: the played signal has no power between %g and %g Hz: check the file and the band", e.LowHz, e.HighHz)
	}
	floor := powerFloor * mean / float64(count)
	for k, s := range v.played {
		w := real(v.spectrum[k]) / max(power(s), floor)
		v.spectrum[k] = complex(w*real(s), -w*imag(s))
	}
	v.filter = newFilter(v.spectrum, v.size)
	return v, nil
}

func (v *Inverse) binHz(k int) float64 {
	return float64(k) * v.excitation.SampleRateHz / float64(v.size)
}

// PassBand is W(f), the gain that every response carries: 1 from a sixth of an octave above the excitation's lowest frequency to
// a sixth of an octave below its highest, 0 outside these two, and half a cosine over the logarithm of the frequency between.
func (v *Inverse) PassBand(frequencyHz float64) float64 {
	e := v.excitation
	if !(frequencyHz > e.LowHz && frequencyHz < e.HighHz) {
		return 0
	}
	if frequencyHz >= v.flatLowHz && frequencyHz <= v.flatHighHz {
		return 1
	}
	octaves := math.Log2(frequencyHz / e.LowHz)
	if frequencyHz > v.flatHighHz {
		octaves = math.Log2(e.HighHz / frequencyHz)
	}
	return 0.5 - 0.5*math.Cos(math.Pi*min(1, max(0, octaves/passEdgeOctaves)))
}

// FlatBandHz gives the edges between which PassBand is 1.
func (v *Inverse) FlatBandHz() (lowHz, highHz float64) {
	return v.flatLowHz, v.flatHighHz
}

// Size is the number of lags of a deconvolution, and the longest segment one takes.
func (v *Inverse) Size() int { return v.size }

// Deconvolution is a recorded segment with the excitation divided out: a circle of Size lags.
type Deconvolution struct {
	inverse *Inverse
	lags    []float64
}

// Deconvolve divides the excitation out of a segment of a recording: h = IDFT(G · DFT(segment)). A segment that is the
// excitation itself gives the band-limited unit pulse at lag 0 (its spectrum is W), so the response has the gain of the chain
// from the excitation's samples to the recording's. The segment begins near the moment the excitation began; lags count from its
// first sample. It is zero-padded to Size; an error if it is longer.
func (v *Inverse) Deconvolve(segment []float64) (*Deconvolution, error) {
	if err := v.checkLength(segment); err != nil {
		return nil, err
	}
	return &Deconvolution{inverse: v, lags: v.filter.apply(segment)}, nil
}

func (v *Inverse) checkLength(segment []float64) error {
	if len(segment) > v.size {
		return fmt.Errorf("deconvolution: a segment of %d samples, at most %d fit the excitation and its tail: cut it, or ask for a longer tail", len(segment), v.size)
	}
	return nil
}

// Cut is Deconvolve(segment).Cut(fromLag, len(dst)) into dst, to the bit, without the time and memory for the other lags. Errors as there, and where dst is longer than Size.
func (v *Inverse) Cut(dst, segment []float64, fromLag int) error {
	if err := v.checkLength(segment); err != nil {
		return err
	}
	if len(dst) > v.size {
		return fmt.Errorf("deconvolution: %d lags asked for, there are %d: ask for a longer tail", len(dst), v.size)
	}
	v.filter.cut(dst, segment, (fromLag%v.size+v.size)%v.size)
	return nil
}

// SampleRateHz is the rate of the recording and of all responses cut from it.
func (d *Deconvolution) SampleRateHz() float64 { return d.inverse.excitation.SampleRateHz }

// Cut copies count lags from fromLag on, as samples; negative lags are times before the segment's first sample. The circle is
// Size long: lags that far apart are the same.
func (d *Deconvolution) Cut(fromLag, count int) []float64 {
	out := make([]float64, max(0, count))
	n := len(d.lags)
	for i, at := 0, (fromLag%n+n)%n; i < len(out); at = 0 {
		i += copy(out[i:], d.lags[at:])
	}
	return out
}

// Onset looks for the direct sound between two lags: the first peak within 6 dB of the largest that follows it in 30 ms, since
// a reflection may be louder than what arrives first. It returns the peak's place in samples, whole and part (band-limited
// interpolation), and the response's value there, whose sign is the polarity.
func (d *Deconvolution) Onset(fromLag, toLag int) (lagSamples, value float64) {
	h := d.Cut(fromLag, toLag-fromLag)
	lag, value := onset(h, d.SampleRateHz())
	return float64(fromLag) + lag, value
}

func onset(h []float64, sampleRateHz float64) (place, value float64) {
	if len(h) == 0 {
		return math.NaN(), math.NaN()
	}
	largest := argMaxAbs(h)
	first := largest
	for i := max(0, largest-int(0.03*sampleRateHz)); i < largest; i++ {
		if math.Abs(h[i]) >= math.Abs(h[largest])/2 {
			// Up this slope to its top.
			for first = i; first < largest && math.Abs(h[first+1]) > math.Abs(h[first]); first++ {
			}
			break
		}
	}
	return refinePeak(h, first)
}

func argMaxAbs(h []float64) int {
	best := 0
	for i, v := range h {
		if math.Abs(v) > math.Abs(h[best]) {
			best = i
		}
	}
	return best
}

// refinePeak finds the top of |h| within one sample of the sample i on the band-limited interpolation: where two readings a tenth
// of a sample to either side are equal. Unlike the highest reading, that is sharp: to 1e-5 of a sample.
func refinePeak(h []float64, i int) (place, value float64) {
	const side = 0.1
	sign := math.Copysign(1, h[i])
	low, high := float64(i)-1, float64(i)+1
	for high-low > 1e-7 {
		middle := (low + high) / 2
		if sign*(interpolate(h, middle+side)-interpolate(h, middle-side)) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	place = (low + high) / 2
	return place, interpolate(h, place)
}

// CompactnessDB says how well the excitation fits what was recorded: the largest squared lag over the mean of all, in dB.
// The right sweep gathers its energy in the first milliseconds of the response: 30 dB and more; noise and a wrong sweep spread
// it. NaN for silence.
func (d *Deconvolution) CompactnessDB() float64 {
	sum := 0.0
	for _, v := range d.lags {
		sum += v * v
	}
	peak := d.lags[argMaxAbs(d.lags)]
	return 10 * math.Log10(peak*peak*float64(len(d.lags))/sum)
}

// Residual is what the response doesn't explain of the segment: the recording, band-limited by PassBand, less the excitation
// through the response between two lags. Clicks and gaps stand out in it, since they belong to no response. It has as many
// samples as the circle has lags; sample i is the segment's sample i.
func (d *Deconvolution) Residual(fromLag, toLag int) []float64 {
	rest := append([]float64(nil), d.lags...)
	n := len(rest)
	for lag := fromLag; lag < toLag && lag-fromLag < n; lag++ {
		rest[(lag%n+n)%n] = 0
	}
	R := RealSpectrum(rest, n)
	for k := range R {
		R[k] *= d.inverse.played[k]
	}
	return RealSignal(R, n)
}

// HarmonicOrders are the distortion orders that are told apart, 2 to HarmonicOrders.
const HarmonicOrders = 5

// Harmonic cuts the response of a distortion order, L ln(order) before the linear response whose direct sound is at directLag.
// Sample 0 stands preS seconds before that order's direct sound, on the exact fraction of a sample, so its phase is right where
// the sweep is synchronised (Novak et al., JAES 63 (2015) 786). The response reaches until shortly before the next lower order
// begins, at most lengthS, and is faded out over its last tenth. Its spectrum at f is the amplitude of the harmonic of that
// order at f, when a sine of amplitude 1 and frequency f/order is played. An error where the excitation is no exponential
// sweep or the orders are too close to tell apart.
func (d *Deconvolution) Harmonic(order int, directLag, preS, lengthS float64) ([]float64, error) {
	e := d.inverse.excitation
	if e.RateS <= 0 {
		return nil, fmt.Errorf("distortion: the played signal is no exponential sweep, so its distortion orders can't be told apart")
	}
	if order < 1 || order > HarmonicOrders {
		return nil, fmt.Errorf("distortion: order %d: orders 1 to %d are told apart", order, HarmonicOrders)
	}
	if order > 1 {
		lengthS = min(lengthS, e.RateS*math.Log(float64(order)/float64(order-1)))
	}
	count := int((lengthS) * e.SampleRateHz)
	if count < 32 || preS*2 > lengthS {
		return nil, fmt.Errorf("distortion: %.3g s between orders %d and %d: use a longer sweep", lengthS, order, order-1)
	}
	place := directLag - (e.RateS*math.Log(float64(order))+preS)*e.SampleRateHz
	whole := math.Floor(place)
	h := FractionalDelay(d.Cut(int(whole), count), whole-place)
	fade := count / 10
	for i := range fade {
		h[count-1-i] *= halfHann(i, fade)
	}
	return h, nil
}

// bandPower is the mean of |DFT(h)|² over a band, from a transform of at least eight lines in it.
func bandPower(h []float64, sampleRateHz float64, band Band) float64 {
	width := band.HighHz - band.LowHz
	n := SmoothLength(max(len(h), int(8*sampleRateHz/width)))
	return BandEnergy(RealSpectrum(h, n), sampleRateHz/float64(n), band) / width
}

// times is the band of a harmonic: order times as high and as wide.
func (b Band) times(order int) Band {
	n := float64(order)
	return Band{n * b.CentreHz, n * b.LowHz, n * b.HighHz}
}

// HarmonicLevel is the level of one distortion order in one band.
type HarmonicLevel struct {
	Order   int
	Band    Band    // of the played frequency; the harmonic itself is order times as high
	LevelDB float64 // harmonic re linear response; NaN where the sweep doesn't reach, or where the noise hides it
	FloorDB float64 // what the noise alone would show in its place; NaN where the noise isn't known
}

// Noise is the noise of a recording as it appears in its responses.
type Noise struct {
	edgesHz      []float64
	sums         []float64 // of the power density, from 0 to each edge: Σ density · width
	sampleRateHz float64
}

const noisePerOctave = 96 // edges; a Response keeps its noise, so it has to be small

// Noise passes a stretch of the recording without signal, best the silence before the sweep, through the same inverse as the
// sweep (after a Hann window, so that hum stays in its band). At least 20 ms are needed; of a stretch longer than Size the
// last Size samples count.
func (v *Inverse) Noise(silence []float64) (*Noise, error) {
	rate := v.excitation.SampleRateHz
	if float64(len(silence)) < 0.02*rate {
		return nil, fmt.Errorf("noise: %.3g s of silence before the sweep: half a second or more tells how much noise there is", float64(len(silence))/rate)
	}
	silence = silence[max(0, len(silence)-v.size):]
	x := make([]float64, len(silence))
	squares := 0.0
	for i, s := range silence {
		w := hann(i, len(x))
		x[i] = w * s
		squares += w * w
	}
	n := &Noise{sampleRateHz: rate}
	sum, edge := 0.0, v.excitation.LowHz/2 // the pass band lets nothing through below
	for k, X := range RealSpectrum(x, v.size) {
		// A segment as long as the circle holds size/squares times the windowed energy, and the circle spreads it over size lags.
		sum += power(X) / squares * power(v.spectrum[k]) * v.binHz(1)
		if f := v.binHz(k) + v.binHz(1)/2; f >= edge {
			n.edgesHz, n.sums = append(n.edgesHz, f), append(n.sums, sum)
			edge = f * math.Exp2(1.0/noisePerOctave)
		}
	}
	n.edgesHz, n.sums = slices.Clone(n.edgesHz), slices.Clone(n.sums) // without the room append leaves
	return n, nil
}

// Density is the mean over a band of the noise's power density in the response: n samples of response hold, on average, n·Density in
// |DFT|², so that it can be set against the spectrum of any gate. It resolves a 96th of an octave.
func (n *Noise) Density(band Band) float64 {
	return (n.upTo(band.HighHz) - n.upTo(band.LowHz)) / (band.HighHz - band.LowHz)
}

func (n *Noise) upTo(f float64) float64 {
	i, _ := slices.BinarySearch(n.edgesHz, f)
	switch {
	case i == 0:
		return 0
	case i == len(n.edgesHz):
		return n.sums[i-1]
	}
	part := (f - n.edgesHz[i-1]) / (n.edgesHz[i] - n.edgesHz[i-1])
	return n.sums[i-1] + part*(n.sums[i]-n.sums[i-1])
}

// SNRdB is the signal-to-noise ratio of a response, or of a gate of it, in a band: its energy less the noise's, over the noise's, in
// dB. −Inf where the noise is all there is; NaN where the band holds neither.
func (n *Noise) SNRdB(response []float64, band Band) float64 {
	noise := n.Density(band) * float64(len(response))
	total := bandPower(response, n.sampleRateHz, band)
	return 10 * math.Log10(max(0, total-noise)/noise)
}

// HarmonicLevels gives the level of the distortion orders 2 to HarmonicOrders in bands of the played frequency: the mean of
// |H_n(nf)|² over the band, f from edge to edge, re the mean of |H_1(f)|², in dB. So a level of −40 dB at 1000 Hz and order 3 means that a tone at 1 kHz comes with one at 3 kHz of a hundredth of its amplitude at the microphone. Linear and
// harmonic responses are cut as in Harmonic. Noise may be nil. A level is given only 3 dB above the noise's floor and inside
// the band in which PassBand is 1, else it is NaN. Errors as in Harmonic.
func (d *Deconvolution) HarmonicLevels(directLag, preS, lengthS float64, bands []Band, noise *Noise) ([]HarmonicLevel, error) {
	rate := d.SampleRateHz()
	flatLow, flatHigh := d.inverse.FlatBandHz()
	linear, err := d.Harmonic(1, directLag, preS, lengthS)
	if err != nil {
		return nil, err
	}
	var levels []HarmonicLevel
	for order := 2; order <= HarmonicOrders; order++ {
		h, err := d.Harmonic(order, directLag, preS, lengthS)
		if err != nil {
			return nil, err
		}
		for _, band := range bands {
			l := HarmonicLevel{Order: order, Band: band, LevelDB: math.NaN(), FloorDB: math.NaN()}
			above := band.times(order)
			if band.LowHz >= flatLow && above.HighHz <= flatHigh {
				fundamental := bandPower(linear, rate, band)
				harmonic := bandPower(h, rate, above)
				floor := 0.0
				if noise != nil {
					floor = noise.Density(above) * float64(len(h))
					l.FloorDB = 10 * math.Log10(floor/fundamental)
				}
				if harmonic > 2*floor {
					l.LevelDB = 10 * math.Log10((harmonic-floor)/fundamental)
				}
			}
			levels = append(levels, l)
		}
	}
	return levels, nil
}
