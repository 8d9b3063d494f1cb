package dsp

// See wav_kernels.go for what each does.

//go:noescape
func floatsVectors(dst *float64, src *byte, n int) (finite bool)

//go:noescape
func words16Vectors(dst *float64, src *byte, n int, scale float64)

//go:noescape
func words24Vectors(dst *float64, src *byte, n int, scale float64)

//go:noescape
func words32Vectors(dst *float64, src *byte, n int, scale float64)

//go:noescape
func toFloatsVectors(dst *byte, src *float64, n int)
