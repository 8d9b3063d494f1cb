package analysis

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"

	"github.com/leadline/leadline/analysis/scatter"
)

// How orders are searched. Where there are few, the wave equation judges all of them. Where there are many, the wells' phases judge them first (screen), all or, where
// even these are too many, those that a climb meets which changes one panel at a time from several beginnings; the wave equation then judges the best of them.
const (
	fewOrders      = 256   // all are tried
	manyOrders     = 65536 // all are screened
	shortlist      = 64    // of the screened go to the wave equation
	beginnings     = 100   // of climbs
	screenLines    = 3     // frequencies per band
	bestListed     = 5
	equalMeans     = 0.02 // diffusion coefficients nearer than this count as equal
	everyFourth    = "every fourth inverted (common practice, no source)"
	allAsDesigned  = "all as designed"
	everyOther     = "every other inverted"
	barkerSequence = "Barker's code, minus for inverted (after Angus; from memory)"
)

// barker holds Barker's codes (R. H. Barker 1953; from memory) by length: sequences whose aperiodic autocorrelation has no side lobe above 1.
var barker = map[int]string{2: "DI", 3: "DDI", 4: "DDID", 5: "DDDID", 7: "DDDIIDI", 11: "DDDIIIDIIDI", 13: "DDDDDIIDDIDID"}

// candidates returns orders that are known for something and are compared whatever the search finds.
func (g *rowRig) candidates() []RowOrder {
	n := g.panels
	out := []RowOrder{{Order: strings.Repeat("D", n), What: allAsDesigned}}
	if strings.Contains(g.row.Kinds, "I") {
		if n >= 4 {
			out = append(out, RowOrder{Order: strings.Repeat("DDDI", n/4) + "DDD"[:n%4], What: everyFourth})
		}
		if n >= 2 {
			out = append(out, RowOrder{Order: strings.Repeat("DI", n/2) + "D"[:n%2], What: everyOther})
		}
		if code, ok := barker[n]; ok && n > 2 {
			out = append(out, RowOrder{Order: code, What: barkerSequence})
		}
	}
	if g.row.Order != "" {
		out = append(out, RowOrder{Order: g.row.Order, What: "the survey's order"})
	}
	return out
}

// canonical returns the order's namesake: of orders that act alike the plainest. From straight ahead an order and its mirror image give mirrored responses
// and the same diffusion coefficient.
func (g *rowRig) canonical(order string) string {
	own, image := make([]byte, len(order)), make([]byte, len(order))
	for i := range own {
		own[i] = g.letter(order[i : i+1])[0]
		turned := map[byte]string{'D': "M", 'M': "D", 'I': "B", 'B': "I"}[own[i]]
		image[len(own)-1-i] = g.letter(turned)[0]
	}
	if math.Abs(g.incidence) < 1e-6 && strings.Trim(string(image), g.letters) == "" && slices.Compare(plainness(string(image)), plainness(string(own))) < 0 {
		return string(image)
	}
	return string(own)
}

// searched returns the letters that the search may use, those that differ.
func (g *rowRig) searched() string {
	var out strings.Builder
	for i := range len(g.row.Kinds) {
		if letter := g.letter(g.row.Kinds[i : i+1]); !strings.Contains(out.String(), letter) {
			out.WriteString(letter)
		}
	}
	return out.String()
}

// search tries orders by the wave equation.
func (g *rowRig) search(ctx context.Context, progress func(float64)) (*RowSearch, error) {
	letters := g.searched()
	found := &RowSearch{Kinds: letters, Possible: math.Pow(float64(len(letters)), float64(g.panels))}
	var tried []RowOrder
	seen := map[string]bool{}
	try := func(o RowOrder) {
		if key := g.canonical(o.Order); !seen[key] {
			seen[key] = true
			tried = append(tried, o)
		}
	}
	for _, o := range g.candidates() {
		try(o)
	}
	found.Exhaustive = found.Possible <= fewOrders
	if found.Exhaustive {
		for code := range int(found.Possible) {
			try(RowOrder{Order: g.canonical(orderOf(code, letters, g.panels))})
		}
	} else {
		s := g.newScreen(letters)
		best, screened := s.best(ctx, found.Possible <= manyOrders, tried)
		found.Screened = screened
		for _, order := range best {
			try(RowOrder{Order: order})
		}
	}
	found.Tried = len(tried)
	if err := g.judge(ctx, tried, progress); err != nil {
		return nil, err
	}
	rank(tried)
	found.suggest(tried)
	found.Orders = worthShowing(tried)
	found.Text = searchText(found)
	return found, nil
}

// judge predicts all orders, in the arrangement of the rig, and far away at 181 receivers: lobes there are too narrow for the standard's steps of 5°.
func (g *rowRig) judge(ctx context.Context, tried []RowOrder, progress func(float64)) error {
	numbers := make([][]int, len(tried))
	for i, o := range tried {
		numbers[i] = g.numbers(o.Order)
	}
	far := *g
	far.source, far.receivers = onArc(farAwayM, g.incidence), arc(farAwayM, 1)
	for half, rig := range []*rowRig{g, &far} {
		energies, err := rig.energies(ctx, numbers, func(b int) bool { return g.design[b] }, g.linesPerBand(), g.mesh(), func(x float64) { progress((float64(half) + x) / 2) })
		if err != nil {
			return err
		}
		for i := range tried {
			o := &tried[i]
			mean, lowest, lowestHz := g.mean(func(b int) []float64 {
				if energies.orders[b] == nil {
					return nil
				}
				return energies.orders[b][i]
			})
			if rig == g {
				o.Mean, o.Lowest, o.LowestHz = mean, lowest, lowestHz
			} else {
				o.Far = mean
			}
		}
	}
	return nil
}

// suggest chooses among the ranked orders: those whose mean is near the best count as equal, and of these the most even far away is suggested.
func (found *RowSearch) suggest(tried []RowOrder) {
	best := 0
	for i, o := range tried {
		if o.Mean < tried[0].Mean-equalMeans {
			break
		}
		found.Close++
		if o.Far > tried[best].Far {
			best = i
		}
	}
	found.Suggested = tried[best].Order
	tried[best].Suggested = true
}

// orderOf returns order number code of the letters.
func orderOf(code int, letters string, panels int) string {
	out := make([]byte, panels)
	for i := range out {
		out[panels-1-i] = letters[code%len(letters)]
		code /= len(letters)
	}
	return string(out)
}

// rank sorts orders by their means, the best first; of equal ones the plainer.
func rank(tried []RowOrder) {
	slices.SortStableFunc(tried, func(a, b RowOrder) int {
		if c := cmp.Compare(b.Mean, a.Mean); c != 0 {
			return c
		}
		return slices.Compare(plainness(a.Order), plainness(b.Order))
	})
	for i := range tried {
		tried[i].Rank = i + 1
	}
}

func plainness(order string) []int {
	out := make([]int, len(order))
	for i := range out {
		out[i] = strings.IndexByte(rowKinds, order[i])
	}
	return out
}

// worthShowing returns of the ranked orders the best, the suggested, those known for something, the most even far away, and the last.
func worthShowing(tried []RowOrder) []RowOrder {
	farthest := 0
	for i, o := range tried {
		if o.Far > tried[farthest].Far {
			farthest = i
		}
	}
	var out []RowOrder
	for i, o := range tried {
		last := i > 0 && i == len(tried)-1
		if last && o.What == "" {
			o.What = "the least even of those tried"
		}
		if i == farthest && o.What == "" {
			o.What = "the most even far away"
		}
		if i < bestListed || o.What != "" || o.Suggested {
			out = append(out, o)
		}
	}
	return out
}

// screen judges orders by the wells' phases alone, as textbook does: every well a piston of its phase shift, at the same places and frequencies. An order's field is the
// sum of what its panels send.
type screen struct {
	g       *rowRig
	letters string
	bands   int
	send    [][][]complex128 // per place in the row and letter: the field, by band, line and receiver
	field   []complex128
	energy  []float64
}

func (g *rowRig) newScreen(letters string) *screen {
	s := &screen{g: g, letters: letters}
	layout := g.layout(strings.Repeat("D", g.panels))
	wells := len(g.panel.DepthsM)
	for p := range g.panels {
		s.send = append(s.send, make([][]complex128, len(letters)))
		for l := range len(letters) {
			depths := kindDepthsM(g.panel, letters[l])
			s.bands = 0
			for b := range g.bands {
				if !g.design[b] || g.bands[b].HighHz > predictionEndHz {
					continue
				}
				s.bands++
				for i := range screenLines {
					k := 2 * math.Pi * line(&g.bands[b], i, screenLines) / g.speed
					for _, r := range g.receivers {
						s.send[p][l] = append(s.send[p][l], pistons(k, g.panel.WellWidthM, layout.centreM[p*wells:][:wells], depths, g.source, r))
					}
				}
			}
		}
	}
	s.field = make([]complex128, len(s.send[0][0]))
	s.energy = make([]float64, len(g.receivers))
	return s
}

// pistons returns Σ_j w sinc(kw(sinθ+sinψ)/2) e^{ik(2d_j + r_j + s_j)}/√(r_j s_j), angles and distances as well j sees source and receiver.
func pistons(k, widthM float64, centreM, depthsM []float64, source, receiver scatter.Place) (sum complex128) {
	for j, x := range centreM {
		from, to := math.Hypot(source.X-x, source.Y), math.Hypot(receiver.X-x, receiver.Y)
		piston := widthM / math.Sqrt(from*to)
		if u := k * widthM * ((receiver.X-x)/to + (source.X-x)/from) / 2; math.Abs(u) > 1e-9 {
			piston *= math.Sin(u) / u
		}
		sum += cmplx.Rect(piston, k*(2*depthsM[j]+from+to))
	}
	return sum
}

// judge returns the mean diffusion coefficient of an order given by places among the letters.
func (s *screen) judge(order []int) float64 {
	clear(s.field)
	for p, l := range order {
		for i, z := range s.send[p][l] {
			s.field[i] += z
		}
	}
	n, sum := len(s.energy), 0.0
	for b := range s.bands {
		clear(s.energy)
		for i, z := range s.field[b*screenLines*n:][:screenLines*n] {
			s.energy[i%n] += squared(z)
		}
		sum += float64(DiffusionCoefficient(s.energy))
	}
	return sum / float64(max(1, s.bands))
}

// best returns the best orders of all, or of those that climbs meet, and how many were judged.
func (s *screen) best(ctx context.Context, all bool, begin []RowOrder) ([]string, int) {
	scores := map[string]float64{}
	score := func(order []int) float64 {
		name := s.g.canonical(s.name(order))
		v, known := scores[name]
		if !known {
			v = s.judge(order)
			scores[name] = v
		}
		return v
	}
	n := s.g.panels
	if all {
		for code := range int(math.Pow(float64(len(s.letters)), float64(n))) {
			order := make([]int, n)
			for i := range order {
				order[i] = code % len(s.letters)
				code /= len(s.letters)
			}
			if score(order); ctx.Err() != nil {
				break
			}
		}
	} else {
		random := rand.New(rand.NewPCG(1, uint64(n))) // the same every time
		for b := 0; b < beginnings && ctx.Err() == nil; b++ {
			order := make([]int, n)
			for i := range order {
				order[i] = random.IntN(len(s.letters))
				if b < len(begin) {
					order[i] = max(0, strings.Index(s.letters, s.g.letter(begin[b].Order[i:i+1])))
				}
			}
			s.climb(order, score)
		}
	}
	names := make([]string, 0, len(scores))
	for name := range scores {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(scores[b], scores[a]), slices.Compare(plainness(a), plainness(b)))
	})
	return names[:min(shortlist, len(names))], len(scores)
}

func (s *screen) name(order []int) string {
	out := make([]byte, len(order))
	for i, l := range order {
		out[i] = s.letters[l]
	}
	return string(out)
}

// climb changes one panel at a time, always the one that gains most, until none does.
func (s *screen) climb(order []int, score func([]int) float64) {
	for top := score(order); ; {
		best, at, to := top, -1, 0
		for p, own := range order {
			for l := range len(s.letters) {
				if order[p] = l; l != own {
					if v := score(order); v > best {
						best, at, to = v, p, l
					}
				}
			}
			order[p] = own
		}
		if at < 0 {
			return
		}
		order[at], top = to, best
	}
}

func spaced(order string) string { return strings.Join(strings.Split(order, ""), " ") }

// searchText says what the search found.
func searchText(s *RowSearch) string {
	if len(s.Orders) == 0 || !s.Orders[0].Mean.Known() {
		return "No order could be judged: the row is too large to be predicted in its design band."
	}
	text := fmt.Sprintf("The search compared %d orders by the wave equation", s.Tried)
	if s.Exhaustive {
		text += ", all that differ."
	} else {
		text += fmt.Sprintf(", the best of %d judged by the wells' phases alone.", s.Screened)
	}
	say := func(o RowOrder) string {
		return fmt.Sprintf("%s (mean diffusion coefficient %.3f, far away %.3f)", spaced(o.Order), float64(o.Mean), float64(o.Far))
	}
	for _, o := range s.Orders {
		if o.Suggested {
			text += " Suggested: " + say(o) + "."
		}
	}
	if s.Close > 1 {
		text += fmt.Sprintf(" The %d orders within %g of the best mean count as equal; of these it is the most even far away.", s.Close, equalMeans)
	}
	for _, o := range s.Orders {
		if (o.What == allAsDesigned || o.What == everyFourth) && !o.Suggested {
			text += fmt.Sprintf(" %s: %s.", upperFirst(o.What), say(o))
		}
	}
	return text
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
