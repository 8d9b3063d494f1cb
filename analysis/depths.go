package analysis

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"slices"

	"github.com/leadline/leadline/analysis/scatter"
	"gonum.org/v1/gonum/mat"
)

// fitData is what the depths are recovered from: gated transfer functions of the positions that count, on the bins that count.
type fitData struct {
	outside   *outside
	models    []*gatedModel  // per position
	measured  [][]complex128 // per position, [k]
	receivers []int          // per position: its receiver in outside
	weight    []float64      // per k: 1/variance of one complex value, 0 outside the range; thinned for neighbouring bins' dependence
	first     int
	last      int
	airLosses bool
	design    []float64
	sideways  []float64 // per position: by how much the path grows as the panel moves along x, metres per metre; nil for not at all
	// noiseShare is the part of the measured energy that is noise, as far as the silence before the direct sound tells.
	noiseShare float64
	designed   *fitState // kept by atDesign
}

// The spread of what the model itself gets wrong, as standard deviations.
const (
	// The model's errors hang together over neighbouring angles and frequencies, so there are far fewer independent values than numbers:
	// taken as independent they give standard deviations too small by a factor of about 5.
	dependence = 25

	modelError  = 0.06   // of the rms reflection at a frequency: what remains of the virtual bench at the true depths
	commonError = 0.10   // of a factor common to all positions at a frequency: source level, upper and lower edges
	pathErrorM  = 0.003  // of the path of the reflection less that of the direct sound, per position
	buildM      = 0.002  // of a depth from its design, as wood and a saw have it; wells that are far off cost no more the further they are
	lossPrior   = 0.15   // of a well's extra loss: a reflection weaker by 2.6 dB
	farM        = 0.006  // what is far
	offsetM     = 0.0003 // of an offset common to all wells: the data can hardly tell it from a front face that stands elsewhere, and a saw doesn't make it
	sidewaysM   = 0.010  // of the panel along x
	commonPathM = 0.010  // of the same for all positions: source and panel front stand elsewhere than a tape measure said
)

// fitState is a set of depths with what the model makes of it.
type fitState struct {
	depths []float64
	shifts []float64        // per position: time by which the reflection comes later than the survey's geometry says, s
	model  [][]complex128   // per position, [k], shifts included
	losses []float64        // per well: extra loss (scatter.Well.Loss); nil where wells are taken as rigid and tight
	slopes [][][]complex128 // per position and unknown, [k]: derivative with respect to the depths, then the losses
	common []complex128     // per k: factor on all positions
	cost   float64          // weighted squares, priors included
	misfit float64          // rms of what is left, re the measured reflection
}

// evaluate predicts the depths of rigid wells, with derivatives where asked.
func (f *fitData) evaluate(depths, shifts []float64, derivatives bool) (*fitState, error) {
	return f.evaluateLossy(depths, nil, shifts, derivatives)
}

// evaluateLossy is evaluate for wells with losses, or without where losses is nil.
func (f *fitData) evaluateLossy(depths, losses, shifts []float64, derivatives bool) (*fitState, error) {
	var sensitivity [][]scatter.Sensitivity
	if derivatives {
		sensitivity = make([][]scatter.Sensitivity, f.outside.count())
	}
	wells := wellsOf(depths)
	for j, l := range losses {
		wells[j].Loss = l
	}
	field, err := f.outside.panel(wells, f.airLosses, sensitivity)
	if err != nil {
		return nil, err
	}
	s := &fitState{depths: depths, losses: losses, shifts: shifts, model: make([][]complex128, len(f.models))}
	if derivatives {
		s.slopes = make([][][]complex128, len(f.models))
	}
	parallel(0, len(f.models), func(i int) {
		r := f.receivers[i]
		alike := []*gatedModel{f.models[i]}
		if derivatives {
			alike = slices.Repeat(alike, 1+2*len(depths))
		}
		gated := applyModels(alike, func(j, k int) complex128 {
			switch {
			case j == 0:
				return field[r][k]
			case j <= len(depths):
				return sensitivity[k][r].Depth[j-1]
			}
			return sensitivity[k][r].Loss[j-1-len(depths)]
		})
		f.shifted(gated, shifts[i])
		s.model[i] = gated[0]
		if derivatives {
			s.slopes[i] = gated[1:]
		}
	})
	f.score(s)
	return s, nil
}

// shifted delays spectra by t; the gate's edge is taken to move along, which is right to first order for shifts far below its rise.
func (f *fitData) shifted(spectra [][]complex128, t float64) {
	if t == 0 {
		return
	}
	for k := range f.outside.count() {
		turn := cmplx.Rect(1, 2*math.Pi*float64(k)*f.outside.stepHz*t)
		for _, x := range spectra {
			x[k] *= turn
		}
	}
}

// score finds the best common factors in closed form and from them the cost.
func (f *fitData) score(s *fitState) {
	s.common = make([]complex128, f.outside.count())
	var left, total float64
	s.cost = 0
	for k := f.first; k <= f.last; k++ {
		w := f.weight[k]
		if w == 0 {
			continue
		}
		var cross complex128
		var power, measured float64
		for i := range f.models {
			m, h := s.model[i][k], f.measured[i][k]
			cross += cmplx.Conj(m) * h
			power += squared(m)
			measured += squared(h)
		}
		prior := 1 / (commonError * commonError)
		c := (complex(w, 0)*cross + complex(prior, 0)) / complex(w*power+prior, 0)
		s.common[k] = c
		sum := 0.0
		for i := range f.models {
			sum += squared(f.measured[i][k] - c*s.model[i][k])
		}
		left += sum
		total += measured
		s.cost += w*sum + prior*squared(c-1)
	}
	s.misfit = math.Sqrt(left / total)
	precision := f.pathPrecision()
	for i, t := range s.shifts {
		for j, u := range s.shifts {
			s.cost += precision.At(i, j) * t * u * f.outside.speed * f.outside.speed
		}
	}
	for _, l := range s.losses {
		s.cost += l * l / (lossPrior * lossPrior)
	}
	for j, d := range s.depths {
		u := d - f.design[j]
		s.cost += u * u / (buildM * buildM) / (1 + u*u/(farM*farM))
	}
	if _, offset, precision := f.offsetPrior(s.depths); precision > 0 {
		s.cost += precision * offset * offset
	}
}

// offsetPrior returns the mean deviation of the wells that are about as deep as designed, each well's share in it, and the precision of the
// prior that it is 0; precision 0 where too few wells are.
func (f *fitData) offsetPrior(depths []float64) (share []float64, offset, precision float64) {
	const near = 0.003
	total := 0.0
	for j, d := range depths {
		u := (d - f.design[j]) / near
		w := 1 / (1 + u*u*u*u)
		share = append(share, w)
		total += w
	}
	if total < 0.3*float64(len(depths)) {
		return share, 0, 0
	}
	for j, d := range depths {
		share[j] /= total
		offset += share[j] * (d - f.design[j])
	}
	return share, offset, 1 / (offsetM * offsetM)
}

// pathPrecision returns the prior precision of the positions' path errors in metres: each has a part of its own, one common to all, and one from a
// panel that stands beside its place (1/σ² (I − B (σ²Λ⁻¹ + BᵀB)⁻¹ Bᵀ), the inverse of σ²I + BΛBᵀ, with the columns of B the common part
// and the sideways slopes).
func (f *fitData) pathPrecision() *mat.SymDense {
	const each = pathErrorM * pathErrorM
	var inner [2][2]float64
	columns := func(i int) [2]float64 {
		b := [2]float64{1, 0}
		if f.sideways != nil {
			b[1] = f.sideways[i]
		}
		return b
	}
	inner[0][0], inner[1][1] = each/(commonPathM*commonPathM), each/(sidewaysM*sidewaysM)
	for i := range f.models {
		b := columns(i)
		for p := range b {
			for q := range b {
				inner[p][q] += b[p] * b[q]
			}
		}
	}
	det := inner[0][0]*inner[1][1] - inner[0][1]*inner[1][0]
	inverse := [2][2]float64{{inner[1][1] / det, -inner[0][1] / det}, {-inner[1][0] / det, inner[0][0] / det}}
	out := mat.NewSymDense(len(f.models), nil)
	for i := range f.models {
		for j := i; j < len(f.models); j++ {
			sum := 0.0
			for p, x := range columns(i) {
				for q, y := range columns(j) {
					sum += x * inverse[p][q] * y
				}
			}
			if i == j {
				sum -= 1
			}
			out.SetSym(i, j, -sum/each)
		}
	}
	return out
}

// normalEquations returns the Gauss–Newton system for depths and shifts at s, the common factors eliminated, from the positions and bins
// that keep says. The unknowns are depths first, then losses where s has any, then shifts in metres of path.
func (f *fitData) normalEquations(s *fitState, keep func(i, k int) bool) (*mat.SymDense, *mat.VecDense) {
	inWells := len(s.depths) + len(s.losses)
	n := inWells + len(f.models)
	a, b := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	column := make([][]complex128, n) // per unknown: derivative at one bin per position; shifts touch one position only
	for j := range column {
		column[j] = make([]complex128, len(f.models))
	}
	for k := f.first; k <= f.last; k++ {
		w := f.weight[k]
		if w == 0 {
			continue
		}
		c := s.common[k]
		power := 1 / (commonError * commonError)
		for i := range f.models {
			use := keep(i, k)
			for j := range inWells {
				column[j][i] = 0
				if use {
					column[j][i] = c * s.slopes[i][j][k]
				}
			}
			column[inWells+i][i] = 0
			if use {
				column[inWells+i][i] = c * s.model[i][k] * complex(0, 2*math.Pi*float64(k)*f.outside.stepHz/f.outside.speed)
				power += w * squared(s.model[i][k])
			}
		}
		residual := make([]complex128, len(f.models))
		for i := range residual {
			if keep(i, k) {
				residual[i] = f.measured[i][k] - c*s.model[i][k]
			}
		}
		onCommon := make([]complex128, n) // M^H J
		for j := range inWells {
			for i := range f.models {
				onCommon[j] += cmplx.Conj(s.model[i][k]) * column[j][i]
			}
		}
		for i := range f.models {
			onCommon[inWells+i] = cmplx.Conj(s.model[i][k]) * column[inWells+i][i]
		}
		for p := range n {
			for q := p; q < n; q++ {
				var sum float64
				switch {
				case q < inWells:
					for i := range f.models {
						sum += realDot(column[p][i], column[q][i])
					}
				case p < inWells:
					sum = realDot(column[p][q-inWells], column[q][q-inWells])
				case p == q:
					sum = squared(column[q][q-inWells])
				}
				a.SetSym(p, q, a.At(p, q)+w*sum-w*w*realDot(onCommon[p], onCommon[q])/power)
			}
			var sum float64
			if p < inWells {
				for i := range f.models {
					sum += realDot(column[p][i], residual[i])
				}
			} else {
				sum = realDot(column[p][p-inWells], residual[p-inWells])
			}
			b.SetVec(p, b.AtVec(p)+w*sum)
		}
	}
	share, offset, precision := f.offsetPrior(s.depths)
	wells := len(s.depths)
	for j, l := range s.losses {
		p := wells + j
		a.SetSym(p, p, a.At(p, p)+1/(lossPrior*lossPrior))
		b.SetVec(p, b.AtVec(p)-l/(lossPrior*lossPrior))
	}
	for p := range wells {
		u := s.depths[p] - f.design[p]
		far := 1 + u*u/(farM*farM)
		near := 1 / (buildM * buildM * far * far)
		a.SetSym(p, p, a.At(p, p)+near)
		b.SetVec(p, b.AtVec(p)-near*u)
		for q := p; q < wells; q++ {
			a.SetSym(p, q, a.At(p, q)+precision*share[p]*share[q])
		}
		b.SetVec(p, b.AtVec(p)-precision*share[p]*offset)
	}
	paths := f.pathPrecision()
	for i := range s.shifts {
		pull := 0.0
		for j, t := range s.shifts {
			pull += paths.At(i, j) * t * f.outside.speed
			if j >= i {
				a.SetSym(inWells+i, inWells+j, a.At(inWells+i, inWells+j)+paths.At(i, j))
			}
		}
		b.SetVec(inWells+i, b.AtVec(inWells+i)-pull)
	}
	return a, b
}

func realDot(a, b complex128) float64 { return real(a)*real(b) + imag(a)*imag(b) }

// solveStep solves (a + damping·diag a) x = b.
func solveStep(a *mat.SymDense, b *mat.VecDense, damping float64) (*mat.VecDense, error) {
	n := a.SymmetricDim()
	damped := mat.NewSymDense(n, nil)
	damped.CopySym(a)
	for i := range n {
		damped.SetSym(i, i, a.At(i, i)*(1+damping)+1e-12)
	}
	var factor mat.Cholesky
	if !factor.Factorize(damped) {
		return nil, errors.New("depth fit: the data leave a combination of wells undetermined")
	}
	var x mat.VecDense
	return &x, factor.SolveVecTo(&x, b)
}

// polish runs Levenberg–Marquardt from a starting set of depths, none below 0 or above limit, for rigid wells.
func (f *fitData) polish(ctx context.Context, start []float64, limit float64) (*fitState, error) {
	s, err := f.evaluate(slices.Clone(start), make([]float64, len(f.models)), true)
	if err != nil {
		return nil, err
	}
	return f.polishFrom(ctx, s, limit, 0)
}

// polishFrom runs Levenberg–Marquardt from a state with its slopes, losses included where it has any. It gives up where a step gains less than a share of the
// cost while much is unexplained.
func (f *fitData) polishFrom(ctx context.Context, s *fitState, limit, giveUp float64) (*fitState, error) {
	const (
		still   = 2e-5 // m: smaller steps tell nothing
		nothing = 1e-4 // of the cost
	)
	damping := 1e-3
	for range 25 {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		a, b := f.normalEquations(s, all)
		step, err := solveStep(a, b, damping)
		if err != nil {
			return s, nil
		}
		depths, losses, shifts := slices.Clone(s.depths), slices.Clone(s.losses), slices.Clone(s.shifts)
		largest := 0.0
		for j := range depths {
			was := depths[j]
			depths[j] = max(0, min(limit, was+max(-0.01, min(0.01, step.AtVec(j)))))
			largest = max(largest, math.Abs(depths[j]-was))
		}
		for j := range losses {
			losses[j] = max(0, losses[j]+max(-0.2, min(0.2, step.AtVec(len(depths)+j))))
		}
		for i := range shifts {
			shifts[i] += step.AtVec(len(depths)+len(losses)+i) / f.outside.speed
		}
		trial, err := f.evaluateLossy(depths, losses, shifts, true)
		if err != nil {
			return nil, err
		}
		if trial.cost >= s.cost {
			damping *= 10
			if damping > 1e3 || largest < 1e-6 || largest < still && mat.Dot(step, b) < nothing*s.cost {
				break
			}
			continue
		}
		gain := s.cost - trial.cost
		s, damping = trial, max(1e-6, damping/5)
		if gain < nothing*s.cost && largest < still || gain < giveUp*s.cost && !f.explains(s) {
			break
		}
	}
	return s, nil
}

func all(int, int) bool { return true }

// search changes one well at a time to the best depth of a fine grid, until nothing gains any more: it leaves wrong minima that
// steps from the design cannot leave (exchanged or filled wells, an error of half a wavelength).
func (f *fitData) search(ctx context.Context, start []float64, limit float64) ([]float64, error) {
	const stepM = 0.004
	depths := slices.Clone(start)
	grid := int(limit/stepM) + 1
	s, err := f.evaluate(slices.Clone(depths), make([]float64, len(f.models)), false)
	if err != nil {
		return nil, err
	}
	for range 2 * len(depths) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		variations, err := f.variations(depths)
		if err != nil {
			return nil, err
		}
		costs := make([]float64, len(depths)*grid)
		parallel(0, len(costs), func(c int) {
			j := c / grid
			costs[c] = f.costAfter(s, variations, j, float64(c%grid)*stepM)
		})
		best := 0
		for c := range costs {
			if costs[c] < costs[best] {
				best = c
			}
		}
		if costs[best] > 0.98*s.cost {
			break
		}
		depths[best/grid] = float64(best%grid) * stepM
		better, err := f.evaluate(slices.Clone(depths), s.shifts, false)
		if err != nil {
			return nil, err
		}
		if better.cost >= s.cost {
			break
		}
		s = better
	}
	return s.depths, nil
}

func (f *fitData) losses(k int) scatter.Losses {
	if !f.airLosses {
		return scatter.Losses{}
	}
	return scatter.AirLosses(2 * math.Pi * float64(k) * f.outside.stepHz)
}

// costAfter estimates the cost if well j alone had another depth.
func (f *fitData) costAfter(s *fitState, variations []*scatter.Variation, j int, depthM float64) float64 {
	count := f.outside.count()
	change := make([]complex128, count)
	for k := f.outside.first; k <= f.outside.last; k++ {
		change[k] = variations[k].Change(j, scatter.Well{DepthM: depthM})
	}
	t := &fitState{depths: s.depths, shifts: s.shifts}
	t.model = applyModels(f.models, func(i, k int) complex128 { return change[k] * variations[k].Reach(f.receivers[i], j) })
	for i := range f.models {
		for k := range t.model[i] {
			t.model[i][k] += s.model[i][k]
		}
	}
	f.score(t)
	return t.cost
}

// recovered is the outcome of a depth fit.
type recovered struct {
	best         *fitState
	designMisfit float64
	error        []float64 // per well: standard deviation, the model's own error included
	losses       []float64 // per well, and their standard deviations
	lossError    []float64
	explanations []Explanation
}

// recoverDepths fits all depths: from the design and, unless that explains the data, from the best that a search finds. The search begins at the cheapest of
// the design read from any well on, forwards or backwards (a sequence begun elsewhere, a panel hung mirrored).
func (f *fitData) recoverDepths(ctx context.Context) (*recovered, error) {
	design := f.design
	deepest := slices.Max(design)
	limit := 1.25*deepest + 0.03
	atDesign, err := f.atDesign()
	if err != nil {
		return nil, err
	}
	out := &recovered{designMisfit: atDesign.misfit}
	const creeping = 0.01 // towards a wrong minimum, as a rule
	if out.best, err = f.polishFrom(ctx, atDesign, limit, creeping); err != nil {
		return nil, err
	}
	states := []*fitState{out.best}
	if !f.explains(out.best) {
		few := f.thinned()
		first, err := few.cheapestOrder(design)
		if err != nil {
			return nil, err
		}
		found, err := few.search(ctx, first, limit)
		if err != nil {
			return nil, err
		}
		state, err := f.polish(ctx, found, limit)
		if err != nil {
			return nil, err
		}
		if state.cost >= out.best.cost {
			if out.best, err = f.polishFrom(ctx, out.best, limit, 0); err != nil { // so it wasn't in vain
				return nil, err
			}
			states[0] = out.best
		}
		states = append(states, state)
		if state.cost < out.best.cost {
			out.best = state
		}
	}
	out.explanations = []Explanation{{"the depths reported", out.best.misfit, out.best.depths}}
	rivals, err := f.rivals(ctx, out.best, limit)
	if err != nil {
		return nil, err
	}
	for _, state := range append(states, rivals...) {
		if state.cost-out.best.cost < asGood && farthest(state.depths, out.best.depths) > 0.005 {
			out.explanations = append(out.explanations, Explanation{"other depths that fit as well", state.misfit, state.depths})
		}
	}
	tight := *out.best
	tight.losses = make([]float64, len(design))
	lossy, err := f.polishFrom(ctx, &tight, limit, 0)
	if err != nil {
		return nil, err
	}
	out.losses = lossy.losses
	deviations, err := f.uncertainty(lossy)
	if err != nil {
		return nil, err
	}
	out.error, out.lossError = deviations[:len(design)], deviations[len(design):]
	if lossy.cost < out.best.cost-asGood {
		// depths taken for rigid wells would carry what the losses do
		out.best = lossy
		out.explanations[0] = Explanation{"the depths reported", lossy.misfit, lossy.depths}
		return out, nil
	}
	out.error, err = f.uncertainty(out.best)
	return out, err
}

// atDesign is the state of the design with the survey's geometry, which several ask for.
func (f *fitData) atDesign() (*fitState, error) {
	var err error
	if f.designed == nil {
		f.designed, err = f.evaluate(slices.Clone(f.design), make([]float64, len(f.models)), true)
	}
	return f.designed, err
}

// explains says whether a state leaves no more than the model's own error and noise.
func (f *fitData) explains(s *fitState) bool { return f.unexplained(s) <= 2*modelError }

// unexplained is the misfit less what is noise.
func (f *fitData) unexplained(s *fitState) float64 {
	return math.Sqrt(max(0, s.misfit*s.misfit-f.noiseShare))
}

// thinned returns the data of at most 13 positions, spread evenly: enough for searches, which end in a fit to all.
func (f *fitData) thinned() *fitData {
	const enough = 13
	every := (len(f.models) + enough - 1) / enough
	few := *f
	few.models, few.measured, few.receivers, few.sideways, few.designed = nil, nil, nil, nil, nil
	for i := 0; i < len(f.models); i += every {
		few.models = append(few.models, f.models[i])
		few.measured = append(few.measured, f.measured[i])
		few.receivers = append(few.receivers, f.receivers[i])
		if f.sideways != nil {
			few.sideways = append(few.sideways, f.sideways[i])
		}
	}
	return &few
}

// cheapestOrder returns the order of the design's wells, begun at any well, forwards or backwards, that fits best.
func (f *fitData) cheapestOrder(design []float64) ([]float64, error) {
	mirrored := slices.Clone(design)
	slices.Reverse(mirrored)
	best, lowest := design, math.Inf(1)
	for _, order := range [][]float64{design, mirrored} {
		for n := range order {
			start := append(slices.Clone(order[n:]), order[:n]...)
			s, err := f.evaluate(start, make([]float64, len(f.models)), false)
			if err != nil {
				return nil, err
			}
			if s.cost < lowest {
				best, lowest = start, s.cost
			}
		}
	}
	return best, nil
}

// asGood is the difference in cost below which two explanations can't be told apart: a likelihood ratio of e²,
// about 7 to 1.
const asGood = 4

func farthest(a, b []float64) (most float64) {
	for j := range a {
		most = max(most, math.Abs(a[j]-b[j]))
	}
	return most
}

// rivals looks for other depths of single wells that fit about as well as the best: half a wavelength further, say.
func (f *fitData) rivals(ctx context.Context, best *fitState, limit float64) ([]*fitState, error) {
	const stepM, apartM = 0.004, 0.008
	few := f.thinned()
	here, err := few.evaluate(best.depths, make([]float64, len(few.models)), false)
	if err != nil {
		return nil, err
	}
	variations, err := few.variations(best.depths)
	if err != nil {
		return nil, err
	}
	grid := int(limit/stepM) + 1
	costs := make([]float64, len(best.depths)*grid)
	parallel(0, len(costs), func(c int) {
		costs[c] = few.costAfter(here, variations, c/grid, float64(c%grid)*stepM)
	})
	// fewer positions tell less: what they can't exclude is tried on all
	within := 4 * asGood * float64(len(few.models)) / float64(len(f.models))
	type candidate struct {
		well  int
		depth float64
		cost  float64
	}
	var candidates []candidate
	for j, at := range best.depths {
		row := costs[j*grid : (j+1)*grid]
		for n, cost := range row {
			depth := float64(n) * stepM
			lowest := (n == 0 || cost <= row[n-1]) && (n == grid-1 || cost < row[n+1])
			// the coarse grid and the plane modes alone overrate the cost, so look a little further than asGood
			if !lowest || math.Abs(depth-at) < apartM || cost > here.cost+within {
				continue
			}
			candidates = append(candidates, candidate{j, depth, cost})
		}
	}
	const most = 3 // each costs a fit
	sortBy(candidates, func(c candidate) float64 { return c.cost })
	var found []*fitState
	for _, c := range candidates[:min(most, len(candidates))] {
		start := slices.Clone(best.depths)
		start[c.well] = c.depth
		state, err := f.polish(ctx, start, limit)
		if err != nil {
			return nil, err
		}
		found = append(found, state)
	}
	return found, nil
}

// variations prepares the search around the given depths at every frequency.
func (f *fitData) variations(depths []float64) ([]*scatter.Variation, error) {
	all := make([]*scatter.Variation, f.outside.count())
	errs := make([]error, f.outside.count())
	wells := wellsOf(depths)
	parallel(f.outside.first, f.outside.count(), func(k int) {
		all[k], errs[k] = f.outside.exteriors[k].Vary(wells, f.losses(k))
	})
	return all, errors.Join(errs...)
}

// uncertainty returns the standard deviation of each depth and, where there are any, of each loss: the larger of the formal one scaled to the residual and the spread when a fifth of the positions,
// or a fifth of the frequencies, is left out (a block jackknife, which sees the model's own errors as far as they change with angle or frequency).
func (f *fitData) uncertainty(s *fitState) ([]float64, error) {
	const blocks = 5
	const lossFloor = 0.01 // of a loss, which the air layers' own uncertainty reaches
	wells := len(s.depths)
	a, b := f.normalEquations(s, all)
	whole, err := solveStep(a, b, 0)
	if err != nil {
		return nil, err
	}
	var factor mat.Cholesky
	if !factor.Factorize(a) {
		return nil, errors.New("depth fit: the data leave a combination of wells undetermined")
	}
	var covariance mat.SymDense
	if err := factor.InverseTo(&covariance); err != nil {
		return nil, fmt.Errorf("depth fit: %w", err)
	}
	spread := make([]float64, wells) // per well: the larger jackknife variance
	for _, block := range []func(i, k int) int{
		func(i, k int) int { return i * blocks / len(f.models) },
		func(i, k int) int { return (k - f.first) * blocks / (f.last - f.first + 1) },
	} {
		sum := make([]float64, wells)
		for leave := range blocks {
			a, b := f.normalEquations(s, func(i, k int) bool { return block(i, k) != leave })
			step, err := solveStep(a, b, 0)
			if err != nil {
				continue
			}
			for j := range sum {
				d := step.AtVec(j) - whole.AtVec(j)
				sum[j] += d * d * (blocks - 1) / blocks
			}
		}
		for j := range spread {
			spread[j] = max(spread[j], sum[j])
		}
	}
	// five blocks tell little of a single well: the covariance gives the wells' shares, all wells together the scale
	scale := 0.0
	for j, v := range spread {
		scale += v / covariance.At(j, j) / float64(wells)
	}
	deviation := make([]float64, wells+len(s.losses))
	for j := range deviation {
		floor := offsetM
		if j >= wells {
			floor = lossFloor
		}
		deviation[j] = math.Sqrt(covariance.At(j, j)*scale + floor*floor)
	}
	return deviation, nil
}
