package dsp

import "sync"

// Transforms of long real signals, for lengths of which tileLength is true: the n samples are taken as m = n/2 complex numbers z[i] = x[2i] + jx[2i+1], and those
// as a matrix of m = rows × cols. It is transformed down the columns, turned by e^{−j2πrc/m} and transformed along the rows (Gentleman and Sande, Proc. AFIPS 29 (1966)
// 563), four columns or rows at a time, so that all the memory is gone through but twice. What stands at row r and column c afterwards is the spectrum's line r + rows·c.
// Line k and its partner m − k, of which the spectrum of the real signal is made, are in two rows that are partners too. So a convolution needs no line in its right place: both
// rows are multiplied and transformed back while they are at hand (filter.through). In memory, between the columns and the rows, four rows stand side by side as they are
// transformed, and beside them the four that hold their partners (tiles.partners).

// tileUnit divides all lengths that are transformed in tiles: the rows of m come in pairs of four, its columns in fours.
const tileUnit = 64

// tileLength tells whether signals of n samples are transformed in tiles.
func tileLength(n int) bool { return n >= 8*tileUnit && n%tileUnit == 0 && smooth(n) }

func smooth(n int) bool {
	for _, p := range []int{2, 3, 5} {
		for n%p == 0 {
			n /= p
		}
	}
	return n == 1
}

// columns transforms the columns of tiles of n rows.
type columns struct {
	n       int
	radices []int
	factors [][]float64 // per pass, as pass takes them
}

func newColumns(n int) columns {
	c := columns{n: n}
	for rest := n; rest > 1; {
		radix := 5
		switch { // first the larger ones
		case rest%5 == 0:
		case rest%3 == 0:
			radix = 3
		case rest%4 == 0:
			radix = 4
		default:
			radix = 2
		}
		rest /= radix
		factors := make([]float64, 0, 2*(radix-1)*rest)
		for p := range rest {
			for j := 1; j < radix; j++ {
				re, im := root(p*j, rest*radix)
				factors = append(factors, re, im)
			}
		}
		c.radices, c.factors = append(c.radices, radix), append(c.factors, factors)
	}
	return c
}

// transform transforms the columns of src into dst; spare may hold anything afterwards.
func (c *columns) transform(dst, src, spare []float64) {
	m, s := c.n, 1
	for i, radix := range c.radices {
		m /= radix
		to := dst
		if (len(c.radices)-i)%2 == 0 {
			to = spare
		}
		pass(radix, to, src, c.factors[i], m, s)
		src = to
		s *= radix
	}
}

// tiles is the plan for one length. It is not changed by use.
type tiles struct {
	n, rows, cols int
	down, along   columns
	turns         []float64    // per four columns and row: e^{−j2πrc/m} of the first of them; behind the last row that of row rows/2 again
	lanes         []float64    // per row: e^{−j2πrc/m} of columns 0 to 3, as turnOut takes them; likewise
	byRow, byCol  []complex128 // e^{−j2πk/n} for k = r and k = rows·c, whose product is that of line r + rows·c
	scratch       sync.Pool    // of *[4][]float64, each a tile
	signals       sync.Pool    // of *[]float64, each n samples
}

var tilePlans sync.Map // int → *tiles

func tilesFor(n int) *tiles {
	if t, ok := tilePlans.Load(n); ok {
		return t.(*tiles)
	}
	t, _ := tilePlans.LoadOrStore(n, newTiles(n))
	return t.(*tiles)
}

func newTiles(n int) *tiles {
	m := n / 2
	t := &tiles{n: n}
	for rows := 8; rows <= m/4; rows += 8 {
		// as square as may be, rather more columns than rows
		if m%rows == 0 && m/rows%4 == 0 && (t.rows == 0 || rows <= m/rows) {
			t.rows, t.cols = rows, m/rows
		}
	}
	t.down, t.along = newColumns(t.rows), newColumns(t.cols)
	row := func(i int) int {
		if i == t.rows {
			return t.rows / 2
		}
		return i
	}
	t.turns = make([]float64, 0, 2*(t.rows+1)*t.cols/4)
	for c := 0; c < t.cols; c += 4 {
		for i := range t.rows + 1 {
			re, im := root(row(i)*c, m)
			t.turns = append(t.turns, re, im)
		}
	}
	t.lanes = make([]float64, 8*(t.rows+1))
	for i := range t.rows + 1 {
		for c := range 4 {
			t.lanes[8*i+c], t.lanes[8*i+4+c] = root(row(i)*c, m)
		}
	}
	t.byRow, t.byCol = make([]complex128, t.rows), make([]complex128, t.cols)
	for r := range t.byRow {
		t.byRow[r] = complex(root(r, n))
	}
	for c := range t.byCol {
		t.byCol[c] = complex(root(t.rows*c, n))
	}
	size := 8 * max(t.rows+1, t.cols)
	t.scratch.New = func() any {
		var s [4][]float64
		for i := range s {
			s[i] = make([]float64, size)
		}
		return &s
	}
	t.signals.New = func() any {
		v := make([]float64, n)
		return &v
	}
	return t
}

// forward transforms the columns of x, at most n samples and zeros after them, and turns them, into v.
func (t *tiles) forward(v, x []float64, s *[4][]float64) {
	for c := 0; c < t.cols; c += 4 {
		t.gather(s[0], x, c)
		t.down.transform(s[1], s[0], s[2])
		copy(s[1][8*t.rows:8*t.rows+8], s[1][4*t.rows:])
		turns := t.turns[c/4*2*(t.rows+1):]
		turnOut(v[8*c:], s[1], turns, t.lanes, 16*t.cols, 0, 1, t.rows/8)
		turnOut(v[8*(t.cols+c):], s[1], turns, t.lanes, 16*t.cols, t.rows, -1, t.rows/8)
	}
}

// gather fills a tile with four columns of x from column c on.
func (t *tiles) gather(tile, x []float64, c int) {
	whole := min(t.rows, max(0, len(x)-2*c+2*t.cols-8)/(2*t.cols)) // rows of which x has all four
	if whole > 0 {
		gather(tile, x[2*c:], 2*t.cols, whole)
	}
	clear(tile[8*whole : 8*t.rows])
	if first := 2 * (c + t.cols*whole); whole < t.rows && first < len(x) {
		for i, v := range x[first:min(len(x), first+8)] {
			tile[8*whole+i%2*4+i/2] = v
		}
	}
}

// backward undoes forward, but for the factor rows, on rows whose real and imaginary parts are exchanged: exchanged, the way back is the same as the way there. dst gets the
// samples from the sample from on, counted round the circle.
func (t *tiles) backward(dst, v []float64, from int, s *[4][]float64) {
	upTo := min(len(dst), t.n-from)
	for c := 0; c < t.cols; c += 4 {
		turns := t.turns[c/4*2*(t.rows+1):]
		turnIn(s[0], v[8*c:], turns, t.lanes, 16*t.cols, 0, 1, t.rows/8)
		turnIn(s[0], v[8*(t.cols+c):], turns, t.lanes, 16*t.cols, t.rows, -1, t.rows/8)
		copy(s[0][4*t.rows:], s[0][8*t.rows:8*t.rows+8])
		t.down.transform(s[1], s[0], s[2])
		t.scatter(dst[:upTo], s[1], c, from)
		t.scatter(dst[upTo:], s[1], c, 0)
	}
}

// scatter puts four columns from column c on to dst, which holds the samples from the sample from on; those beyond it are left out.
func (t *tiles) scatter(dst, tile []float64, c, from int) {
	row := 2 * t.cols
	end := from + len(dst)
	first, last := (from+row-1)/row, end/row // of the whole rows, and the one after them
	if first < last {
		scatterSwapped(dst[row*first-from+2*c:], tile[8*first:], row, last-first)
	}
	part := func(r int) {
		for i := range 8 {
			if at := row*r + 2*c + i; at >= from && at < end {
				dst[at-from] = tile[8*r+4-i%2*4+i/2]
			}
		}
	}
	if row*first > from {
		part(first - 1)
	}
	if first <= last && row*last < end {
		part(last)
	}
}

// partners returns rows first to first+3 of v as one tile, and as another the rows with the partners of each one's lines, rows − r. Row 0 and row rows/2, which are partners
// to themselves, come as a pair.
func (t *tiles) partners(v []float64, first int) (rows, others []float64) {
	v = v[4*t.cols*first:]
	return v[:8*t.cols], v[8*t.cols : 16*t.cols]
}

// spectrum is RealSpectrum for at most n samples.
func (t *tiles) spectrum(x []float64) []complex128 {
	s := t.scratch.Get().(*[4][]float64)
	defer t.scratch.Put(s)
	kept := t.signals.Get().(*[]float64)
	defer t.signals.Put(kept)
	v := *kept
	t.forward(v, x, s)
	m := t.n / 2
	out := make([]complex128, m+1)
	set := func(r, c int, z, partner complex128) { // of line k = r + rows·c and of m−k
		k := r + t.rows*c
		turn := t.byRow[r] * t.byCol[c]
		p, q := conj(partner), complex(imag(turn)/2, -real(turn)/2) // e^{−jφ}/2j
		even, odd := complex((real(z)+real(p))/2, (imag(z)+imag(p))/2), (z-p)*q
		out[k], out[m-k] = even+odd, conj(even-odd)
	}
	for first := 0; first < t.rows/2; first += 4 {
		rows, others := t.partners(v, first)
		a, b := s[0], s[2]
		t.along.transform(a, rows, s[1])
		t.along.transform(b, others, s[3])
		for c := range t.cols {
			for lane := range 4 {
				if first+lane == 0 {
					continue
				}
				d := t.cols - 1 - c
				set(first+lane, c, complex(a[8*c+lane], a[8*c+4+lane]), complex(b[8*d+lane], b[8*d+4+lane]))
			}
		}
		if first == 0 {
			for c := range t.cols {
				d := (t.cols - c) % t.cols
				set(0, c, complex(a[8*c], a[8*c+4]), complex(a[8*d], a[8*d+4]))
				d = t.cols - 1 - c
				set(t.rows/2, c, complex(b[8*c], b[8*c+4]), complex(b[8*d], b[8*d+4]))
			}
		}
	}
	return out
}

// signal is RealSignal for a spectrum of n/2+1 lines: n samples.
func (t *tiles) signal(X []complex128) []float64 {
	s := t.scratch.Get().(*[4][]float64)
	defer t.scratch.Put(s)
	kept := t.signals.Get().(*[]float64)
	defer t.signals.Put(kept)
	v := *kept
	m := t.n / 2
	scale := 0.5 / float64(m)
	get := func(r, c int) (z, partner complex128) { // of line k = r + rows·c and of m−k
		k := r + t.rows*c
		x, y := X[k], conj(X[m-k])
		if k == 0 {
			x, y = complex(real(x), 0), complex(real(y), 0)
		}
		even, odd := x+y, x-y
		turn := t.byRow[r] * t.byCol[c]
		odd *= complex(imag(turn), real(turn)) // j e^{jφ}
		return complex(scale*real(even+odd), scale*imag(even+odd)), complex(scale*real(even-odd), -scale*imag(even-odd))
	}
	put := func(tile []float64, i int, z complex128) { tile[i+4], tile[i] = real(z), imag(z) }
	for first := 0; first < t.rows/2; first += 4 {
		rows, others := t.partners(v, first)
		a, b := s[0], s[2]
		for c := range t.cols {
			for lane := range 4 {
				if first+lane == 0 {
					z, _ := get(0, c)
					put(a, 8*c, z)
					z, _ = get(t.rows/2, c)
					put(b, 8*c, z)
					continue
				}
				z, partner := get(first+lane, c)
				put(a, 8*c+lane, z)
				put(b, 8*(t.cols-1-c)+lane, partner)
			}
		}
		t.along.transform(rows, a, s[1])
		t.along.transform(others, b, s[3])
	}
	x := make([]float64, t.n)
	t.backward(x, v, 0, s)
	return x
}

func conj(z complex128) complex128 { return complex(real(z), -imag(z)) }

// filter multiplies the spectra of real signals of one length by a fixed one. It is not changed by use: safe for concurrent use.
type filter struct {
	n       int
	lines   []complex128 // the fixed spectrum, n/2+1 lines; nil where there are tiles
	tiles   *tiles
	factors []float64       // per four pairs of rows and column: as filterTiles takes them
	own     [2][]complex128 // for rows 0 and rows/2, of z′ = p z + r c: p and r in turn
}

// newFilter prepares G, n/2+1 lines as in RealSpectrum; imaginary parts at 0 and half the sample rate don't count.
func newFilter(G []complex128, n int) *filter {
	f := &filter{n: n}
	if !tileLength(n) {
		f.lines = append(f.lines, G...)
		return f
	}
	t := tilesFor(n)
	f.tiles = t
	m := n / 2
	// With the spectrum X of z's real signal made from lines z and c (its partner's conjugate), multiplied by G, and made into lines again:
	//	z′ = S z + D (jc cos φ − z sin φ),  c′ = S c − D (jz cos φ − c sin φ),
	// S and D being half the sum and difference of G at k and conj G at m−k and φ = 2πk/n; 1/m is the way back's.
	at := func(k int) (sum, difference complex128) {
		x, y := G[k], conj(G[m-k])
		if k == 0 {
			x, y = complex(real(x), 0), complex(real(y), 0)
		}
		scale := complex(0.5/float64(m), 0)
		return scale * (x + y), scale * (x - y)
	}
	f.factors = make([]float64, 0, n)
	for first := 0; first < t.rows/2; first += 4 {
		for c := range t.cols {
			var w [16]float64
			for lane := range 4 {
				sum, difference := at(first + lane + t.rows*c)
				w[lane], w[4+lane], w[8+lane], w[12+lane] = real(sum), imag(sum), real(difference), imag(difference)
			}
			f.factors = append(f.factors, w[:]...)
		}
	}
	for i, row := range []int{0, t.rows / 2} {
		for c := range t.cols {
			k := row + t.rows*c
			sum, difference := at(k)
			cos, sin := root(k, n) // sin φ = −sin
			f.own[i] = append(f.own[i], sum+difference*complex(sin, 0), difference*complex(0, cos))
		}
	}
	return f
}

// apply returns the signal that x, at most n samples, becomes: n samples on a circle.
func (f *filter) apply(x []float64) []float64 {
	if f.tiles == nil {
		X := RealSpectrum(x, f.n)
		for k := range X {
			X[k] *= f.lines[k]
		}
		return RealSignal(X, f.n)
	}
	dst := make([]float64, f.n)
	f.through(dst, x, 0)
	return dst
}

// cut fills dst, at most n samples, with those of apply(x) from the sample from on, counted round the circle.
func (f *filter) cut(dst, x []float64, from int) {
	if f.tiles != nil {
		f.through(dst, x, from)
		return
	}
	y := f.apply(x)
	n := copy(dst, y[from:])
	copy(dst[n:], y)
}

// through is cut in tiles.
func (f *filter) through(dst, x []float64, from int) {
	t := f.tiles
	s := t.scratch.Get().(*[4][]float64)
	defer t.scratch.Put(s)
	kept := t.signals.Get().(*[]float64)
	defer t.signals.Put(kept)
	v := *kept
	t.forward(v, x, s)
	a, b, own := s[0], s[2], s[1]
	for first := 0; first < t.rows/2; first += 4 {
		rows, others := t.partners(v, first)
		t.along.transform(a, rows, s[1])
		t.along.transform(b, others, s[3])
		if first == 0 {
			f.ownRows(a, b, own)
		}
		filterTiles(a, b, f.factors[first/4*16*t.cols:], t.byRow[first:], t.byCol)
		if first == 0 {
			for c := range t.cols {
				a[8*c], a[8*c+4], b[8*c], b[8*c+4] = own[4*c], own[4*c+1], own[4*c+2], own[4*c+3]
			}
		}
		t.along.transform(rows, a, s[1])
		t.along.transform(others, b, s[3])
	}
	t.backward(dst, v, from, s)
}

// ownRows does for the rows that are their own partners, in column 0 of the two tiles, what filterTiles does for the others; it puts the results, exchanged, to out.
func (f *filter) ownRows(a, b, out []float64) {
	cols := f.tiles.cols
	for c := range cols {
		d := (cols - c) % cols
		z := f.own[0][2*c]*complex(a[8*c], a[8*c+4]) + f.own[0][2*c+1]*complex(a[8*d], -a[8*d+4])
		d = cols - 1 - c
		y := f.own[1][2*c]*complex(b[8*c], b[8*c+4]) + f.own[1][2*c+1]*complex(b[8*d], -b[8*d+4])
		out[4*c], out[4*c+1], out[4*c+2], out[4*c+3] = imag(z), real(z), imag(y), real(y)
	}
}
