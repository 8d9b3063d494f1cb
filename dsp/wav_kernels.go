package dsp

import (
	"encoding/binary"
	"math"
)

// Between the bytes of a WAV file and float64. Processors of the amd64 kind take the samples of a file of one channel, which lie one after the other, four at a time
// (wav_amd64.s); both ways give the same bits, since nothing is rounded but to 32-bit floats, and that alike.

// floatsOf decodes 32-bit floats that lie align bytes apart. It returns the index of the first that is NaN or infinite, or len(dst).
func floatsOf(dst []float64, src []byte, align int) int {
	n := len(dst) &^ 3
	if hasVectors && align == 4 && n > 0 && floatsVectors(&dst[0], &src[:4*n][0], n) {
		return n + floatsOfPlain(dst[n:], src[4*n:], align)
	}
	return floatsOfPlain(dst, src, align)
}

func floatsOfPlain(dst []float64, src []byte, align int) int {
	p := 0
	for i := range dst {
		x := float64(math.Float32frombits(binary.LittleEndian.Uint32(src[p:])))
		dst[i] = x
		if x-x != 0 {
			return i
		}
		p += align
	}
	return len(dst)
}

// wordsOf decodes integers of 2, 3 or 4 bytes that lie align bytes apart, each times scale, a power of two.
func wordsOf(dst []float64, src []byte, size, align int, scale float64) {
	done := 0
	if hasVectors && align == size && len(dst) >= 8 {
		switch size {
		case 2:
			done = len(dst) &^ 3
			words16Vectors(&dst[0], &src[:2*done][0], done, scale)
		case 3:
			done = (len(dst) - 2) &^ 3 // it reads four bytes more
			words24Vectors(&dst[0], &src[:3*done+4][0], done, scale)
		default:
			done = len(dst) &^ 3
			words32Vectors(&dst[0], &src[:4*done][0], done, scale)
		}
	}
	if done < len(dst) {
		wordsOfPlain(dst[done:], src[done*align:], size, align, scale)
	}
}

func wordsOfPlain(dst []float64, src []byte, size, align int, scale float64) {
	p := 0
	switch size {
	case 2:
		for i := range dst {
			dst[i] = float64(int16(binary.LittleEndian.Uint16(src[p:]))) * scale
			p += align
		}
	case 3:
		for i := range dst {
			b := src[p : p+3]
			dst[i] = float64(int32(b[0])|int32(b[1])<<8|int32(int8(b[2]))<<16) * scale
			p += align
		}
	default:
		for i := range dst {
			dst[i] = float64(int32(binary.LittleEndian.Uint32(src[p:]))) * scale
			p += align
		}
	}
}

// toFloats encodes 32-bit floats, align bytes apart.
func toFloats(dst []byte, src []float64, align int) {
	done := 0
	if n := len(src) &^ 3; hasVectors && align == 4 && n > 0 {
		toFloatsVectors(&dst[:4*n][0], &src[0], n)
		done = n
	}
	if done < len(src) {
		toFloatsPlain(dst[4*done:], src[done:], align)
	}
}

func toFloatsPlain(dst []byte, src []float64, align int) {
	p := 0
	for _, x := range src {
		binary.LittleEndian.PutUint32(dst[p:], math.Float32bits(float32(x)))
		p += align
	}
}
