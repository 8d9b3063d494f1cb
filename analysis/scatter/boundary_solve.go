package scatter

import "math"

// mirror returns for every element the index of its mirror image in the plane x = 0, or nil where the outline is not
// symmetric element by element.
func mirror(elements []element) []int {
	const slack = 1e-9 // far below any element
	at := map[[2]int64]int{}
	key := func(p Point) [2]int64 {
		return [2]int64{int64(math.Round(p.X / slack / 8)), int64(math.Round(p.Y / slack / 8))}
	}
	for i := range elements {
		at[key(elements[i].mid)] = i
	}
	image := make([]int, len(elements))
	for i := range elements {
		mid := elements[i].mid
		j, ok := at[key(Point{-mid.X, mid.Y})]
		if !ok || j == i || math.Abs(elements[j].length-elements[i].length) > slack {
			return nil
		}
		image[i] = j
	}
	return image
}

// solveBoundary solves the boundary equations for all columns of right, in place. A symmetric outline falls into an even and an
// odd half, each a quarter of the work.
func solveBoundary(k float64, elements []element, right *matrix) error {
	image := mirror(elements)
	if image == nil {
		all := make([]int, len(elements))
		for i := range all {
			all[i] = i
		}
		return solveInPlace(boundaryRows(k, elements, all), right)
	}
	var half []int
	for i := range elements {
		if elements[i].mid.X < 0 {
			half = append(half, i)
		}
	}
	rows := boundaryRows(k, elements, half)
	n := len(half)
	even, odd := newMatrix(n, n), newMatrix(n, n)
	evenRight, oddRight := newMatrix(n, right.cols), newMatrix(n, right.cols)
	for i := range n {
		row := rows.row(i)
		for j, element := range half {
			a, b := row[element], row[image[element]]
			even.row(i)[j], odd.row(i)[j] = a+b, a-b
		}
		p, q := right.row(half[i]), right.row(image[half[i]])
		for c := range p {
			evenRight.row(i)[c], oddRight.row(i)[c] = 0.5*(p[c]+q[c]), 0.5*(p[c]-q[c])
		}
	}
	if err := solveInPlace(even, evenRight); err != nil {
		return err
	}
	if err := solveInPlace(odd, oddRight); err != nil {
		return err
	}
	for i := range n {
		p, q := right.row(half[i]), right.row(image[half[i]])
		for c := range p {
			u, v := evenRight.row(i)[c], oddRight.row(i)[c]
			p[c], q[c] = u+v, u-v
		}
	}
	return nil
}
