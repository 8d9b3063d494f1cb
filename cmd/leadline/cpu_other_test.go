//go:build !unix

package main

// processorSeconds is not known here.
func processorSeconds() float64 { return 0 }
