//go:build !amd64

package dsp

// No instructions of its own: wav_kernels.go does everything.

func floatsVectors(dst *float64, src *byte, n int) (finite bool)   { return true }
func words16Vectors(dst *float64, src *byte, n int, scale float64) {}
func words24Vectors(dst *float64, src *byte, n int, scale float64) {}
func words32Vectors(dst *float64, src *byte, n int, scale float64) {}
func toFloatsVectors(dst *byte, src *float64, n int)               {}
