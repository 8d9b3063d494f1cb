package scatter

import "math"

// Variation tells cheaply what a change of one well alone does to the field, around a given set of wells: only what the mean velocity over its mouth meets in the well
// is followed, and only the plane mode over the height, so it serves searches; Panel gives the figure itself.
type Variation struct {
	shapes  *modeShapes
	mouths  []Mouth
	k2      []complex128   // per well: squared wavenumber inside
	v       []complex128   // velocities there, the first function's
	rest    []complex128   // the row times v without W, plus the mouth's pressure with all mouths closed
	inverse []complex128   // diagonal of the inverse of the system at the given wells
	restOf  []complex128   // the row without W times that column of the inverse
	receive [][]complex128 // per receiver
}

// Vary prepares variations around the given wells. Errors as for Panel.
func (e *Exterior) Vary(wells []Well, losses Losses) (*Variation, error) {
	if err := e.validate(wells); err != nil {
		return nil, err
	}
	v := &Variation{shapes: e.shapes, mouths: e.mouths, k2: e.slits(losses)}
	if len(wells) == 0 {
		return v, nil
	}
	mode := &e.height[0]
	n := len(wells) * e.functions
	system, right := newMatrix(n, n), newMatrix(n, 1+len(wells))
	rest := newMatrix(len(wells), n) // the rows of the first functions, without what varies
	var well wellMatrix
	for j, m := range e.mouths {
		well.set(e.shapes, m.WidthM(), v.k2[j], wells[j], false)
		first := j * e.functions
		copy(rest.row(j), mode.z.row(first))
		for g := 1; g < e.functions; g++ {
			rest.row(j)[first+g] += well.w[g]
		}
		pair := 0
		for f := range e.functions {
			i := first + f
			for c, z := range mode.z.row(i) {
				system.row(i)[c] += z
			}
			for g := i; g < first+e.functions; g++ {
				system.row(i)[g] += well.w[pair]
				if g > i {
					system.row(g)[i] += well.w[pair]
				}
				pair++
			}
			right.row(i)[0] = -e.source[i] * mode.excite[j]
		}
		// the row that varies is scaled so that a closed well does no harm
		scaled := newWellRow(well.w[0])
		for c, z := range rest.row(j) {
			system.row(first)[c] = scaled.closing * z
		}
		system.row(first)[first] += scaled.opening
		right.row(first)[0] *= scaled.closing
		right.row(first)[1+j] = 1
	}
	if err := solveInPlace(system, right); err != nil {
		return nil, err
	}
	for j := range wells {
		first := j * e.functions
		rested, restOf := e.source[first]*mode.excite[j], complex128(0)
		for c, z := range rest.row(j) {
			rested += z * right.row(c)[0]
			restOf += z * right.row(c)[1+j]
		}
		v.v = append(v.v, right.row(first)[0])
		v.rest = append(v.rest, rested)
		v.inverse = append(v.inverse, right.row(first)[1+j])
		v.restOf = append(v.restOf, restOf)
	}
	for r := range e.flat {
		reach := make([]complex128, len(wells))
		for l := range wells {
			heard := mode.receive.row(l)[r]
			for i := l * e.functions; i < (l+1)*e.functions; i++ {
				send := e.radiate.row(i)[r] * heard
				for j, a := range right.row(i)[1:] {
					reach[j] += send * a
				}
			}
		}
		v.receive = append(v.receive, reach)
	}
	return v, nil
}

// wellRow states opening·v + closing·(∫ p φ) = 0 for the mean velocity of a mouth, whose larger factor is 1.
type wellRow struct{ opening, closing complex128 }

func newWellRow(w complex128) wellRow {
	if math.Abs(real(w))+math.Abs(imag(w)) > 1 {
		return wellRow{1, 1 / w}
	}
	return wellRow{w, 1}
}

// Reach returns what receiver r hears of a unit Change of well j.
func (v *Variation) Reach(r, j int) complex128 { return v.receive[r][j] }

// Change returns by how much well j acts differently if it were w instead (Sherman and Morrison's formula for the exchange of one row).
func (v *Variation) Change(j int, w Well) complex128 {
	row := newWellRow(v.shapes.first(v.mouths[j].WidthM(), v.k2[j], w))
	defect := -(row.opening*v.v[j] + row.closing*v.rest[j])
	return defect / (row.opening*v.inverse[j] + row.closing*v.restOf[j])
}
