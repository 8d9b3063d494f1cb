//go:build !unix

package scatter

// processorSeconds is not known here.
func processorSeconds() float64 { return 0 }
