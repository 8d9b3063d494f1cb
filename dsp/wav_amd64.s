#include "textflag.h"

// Samples of one channel between the file's formats and float64, four at a time. See wav_kernels.go.

#define ARGUMENTS \
	MOVQ dst+0(FP), DI; \
	MOVQ src+8(FP), SI; \
	MOVQ n+16(FP), CX

// The end of a loop over samples of so many bytes in four, and of its routine.
#define SCALED(bytes, loop) \
	VMULPD  Y4, Y0, Y0; \
	VMOVUPD Y0, (DI); \
	ADDQ    $bytes, SI; \
	ADDQ    $32, DI; \
	SUBQ    $4, CX; \
	JNZ     loop; \
	VZEROUPPER; \
	RET

// func floatsVectors(dst *float64, src *byte, n int) (finite bool)
TEXT ·floatsVectors(SB), NOSPLIT, $0-25
	ARGUMENTS
	VXORPD Y4, Y4, Y4

floats:
	VCVTPS2PD (SI), Y0
	VMOVUPD Y0, (DI)
	VSUBPD  Y0, Y0, Y1 // 0, but for infinite samples and NaN
	VORPD   Y1, Y4, Y4
	ADDQ    $16, SI
	ADDQ    $32, DI
	SUBQ    $4, CX
	JNZ     floats
	VPTEST Y4, Y4
	SETEQ  finite+24(FP)
	VZEROUPPER
	RET

// func words16Vectors(dst *float64, src *byte, n int, scale float64)
TEXT ·words16Vectors(SB), NOSPLIT, $0-32
	ARGUMENTS
	VBROADCASTSD scale+24(FP), Y4

words16:
	VPMOVSXWD (SI), X0
	VCVTDQ2PD X0, Y0
	SCALED(8, words16)

// func words24Vectors(dst *float64, src *byte, n int, scale float64)
// Reads four bytes beyond the last sample.
TEXT ·words24Vectors(SB), NOSPLIT, $0-32
	ARGUMENTS
	VBROADCASTSD scale+24(FP), Y4
	VMOVDQU spread24<>(SB), X5

words24:
	VMOVDQU (SI), X0
	VPSHUFB X5, X0, X0 // to the top of four words
	VPSRAD  $8, X0, X0
	VCVTDQ2PD X0, Y0
	SCALED(12, words24)

// func words32Vectors(dst *float64, src *byte, n int, scale float64)
TEXT ·words32Vectors(SB), NOSPLIT, $0-32
	ARGUMENTS
	VBROADCASTSD scale+24(FP), Y4

words32:
	VCVTDQ2PD (SI), Y0
	SCALED(16, words32)

// func toFloatsVectors(dst *byte, src *float64, n int)
TEXT ·toFloatsVectors(SB), NOSPLIT, $0-24
	ARGUMENTS

toFloats:
	VCVTPD2PSY (SI), X0
	VMOVUPS X0, (DI)
	ADDQ    $32, SI
	ADDQ    $16, DI
	SUBQ    $4, CX
	JNZ     toFloats
	VZEROUPPER
	RET

DATA spread24<>+0(SB)/8, $0x0504038002010080
DATA spread24<>+8(SB)/8, $0x0b0a098008070680
GLOBL spread24<>(SB), RODATA|NOPTR, $16
