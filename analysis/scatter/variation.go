package scatter

// Variation tells cheaply what a change of one well alone does to the field, around a given set of wells: only the plane mode across and over the
// height is followed, so it serves searches; Panel gives the figure itself.
type Variation struct {
	k2      []complex128   // per well: squared wavenumber inside
	z       *matrix        // plane modes' coupling
	inverse *matrix        // of the system at the given wells
	v       []complex128   // mouth velocities there
	zv      []complex128   // coupling times velocities
	zu      []complex128   // per well j: row j of z times column j of the inverse
	drive   []complex128   // mouth pressures with all mouths closed
	receive [][]complex128 // per receiver
}

// Vary prepares variations around the given wells. Errors as for Panel.
func (e *Exterior) Vary(wells []Well, losses Losses) (*Variation, error) {
	n := len(e.mouths)
	if err := e.validate(wells); err != nil {
		return nil, err
	}
	if n == 0 {
		return &Variation{}, nil
	}
	mode := &e.height[0]
	v := &Variation{z: newMatrix(n, n), inverse: newMatrix(n, n)}
	system := newMatrix(n, n)
	drive := make([]complex128, n)
	v.k2 = e.slits(losses)
	for j := range e.mouths {
		v.drive = append(v.drive, e.source[j*e.modes]*mode.excite[j])
		row := newWellRow(v.k2[j], wells[j])
		for l := range n {
			v.z.row(j)[l] = mode.z.row(j * e.modes)[l*e.modes]
			system.row(j)[l] = row.sin * v.z.row(j)[l]
		}
		system.row(j)[j] += row.cos
		drive[j] = -row.sin * v.drive[j]
		v.inverse.row(j)[j] = 1
	}
	if err := solveInPlace(system, v.inverse); err != nil {
		return nil, err
	}
	v.v, v.zv, v.zu = make([]complex128, n), make([]complex128, n), make([]complex128, n)
	for j := range n {
		for l, a := range v.inverse.row(j) {
			v.v[j] += a * drive[l]
		}
	}
	for j := range n {
		for l, z := range v.z.row(j) {
			v.zv[j] += z * v.v[l]
			v.zu[j] += z * v.inverse.row(l)[j]
		}
	}
	for r := range e.flat {
		reach := make([]complex128, n)
		for l := range n {
			send := e.radiate.row(l * e.modes)[r] * mode.receive.row(l)[r]
			for j, a := range v.inverse.row(l) {
				reach[j] += send * a
			}
		}
		v.receive = append(v.receive, reach)
	}
	return v, nil
}

// Reach returns what receiver r hears of a unit Change of well j.
func (v *Variation) Reach(r, j int) complex128 { return v.receive[r][j] }

// Change returns by how much well j acts differently if it were w instead (Sherman and Morrison's formula for the exchange of one row).
func (v *Variation) Change(j int, w Well) complex128 {
	row := newWellRow(v.k2[j], w)
	defect := -row.sin*v.drive[j] - (row.cos*v.v[j] + row.sin*v.zv[j])
	return defect / (row.cos*v.inverse.row(j)[j] + row.sin*v.zu[j])
}
