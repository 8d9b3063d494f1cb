#include "textflag.h"

// Loops over samples. See samples_amd64.go.

DATA magnitude<>+0(SB)/8, $0x7fffffffffffffff
GLOBL magnitude<>(SB), RODATA|NOPTR, $8

// The magnitudes of sixteen samples.
#define MAGNITUDES \
	VANDPD (SI), Y8, Y4; \
	VANDPD 32(SI), Y8, Y5; \
	VANDPD 64(SI), Y8, Y6; \
	VANDPD 96(SI), Y8, Y7

// func peakVectors(x *float64, n int) float64
TEXT ·peakVectors(SB), NOSPLIT, $0-24
	MOVQ x+0(FP), SI
	MOVQ n+8(FP), CX
	VBROADCASTSD magnitude<>(SB), Y8
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1
	VXORPD Y2, Y2, Y2
	VXORPD Y3, Y3, Y3

peak:
	MAGNITUDES
	VMAXPD Y4, Y0, Y0
	VMAXPD Y5, Y1, Y1
	VMAXPD Y6, Y2, Y2
	VMAXPD Y7, Y3, Y3
	ADDQ   $128, SI
	SUBQ   $16, CX
	JNZ    peak
	VMAXPD Y1, Y0, Y0
	VMAXPD Y3, Y2, Y2
	VMAXPD Y2, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VMAXPD X1, X0, X0
	VPERMILPD $1, X0, X1
	VMAXSD X1, X0, X0
	VMOVSD X0, ret+16(FP)
	VZEROUPPER
	RET

// func countVectors(x *float64, n int, limit float64) int
TEXT ·countVectors(SB), NOSPLIT, $0-32
	MOVQ x+0(FP), SI
	MOVQ n+8(FP), CX
	VBROADCASTSD magnitude<>(SB), Y8
	VBROADCASTSD limit+16(FP), Y9
	VPXOR Y0, Y0, Y0
	VPXOR Y1, Y1, Y1
	VPXOR Y2, Y2, Y2
	VPXOR Y3, Y3, Y3

count:
	MAGNITUDES
	VCMPPD $2, Y9, Y4, Y4 // at most: −1 as an integer
	VCMPPD $2, Y9, Y5, Y5
	VCMPPD $2, Y9, Y6, Y6
	VCMPPD $2, Y9, Y7, Y7
	VPSUBQ Y4, Y0, Y0
	VPSUBQ Y5, Y1, Y1
	VPSUBQ Y6, Y2, Y2
	VPSUBQ Y7, Y3, Y3
	ADDQ   $128, SI
	SUBQ   $16, CX
	JNZ    count
	VPADDQ Y1, Y0, Y0
	VPADDQ Y3, Y2, Y2
	VPADDQ Y2, Y0, Y0
	VEXTRACTI128 $1, Y0, X1
	VPADDQ X1, X0, X0
	VPSRLDQ $8, X0, X1
	VPADDQ X1, X0, X0
	VMOVQ  X0, AX
	MOVQ   AX, ret+24(FP)
	VZEROUPPER
	RET

// func turnsVectors(sums *[16]float64, turns *[32]float64, x *float64, n int)
TEXT ·turnsVectors(SB), NOSPLIT, $0-32
	MOVQ sums+0(FP), DI
	MOVQ turns+8(FP), AX
	MOVQ x+16(FP), SI
	MOVQ n+24(FP), CX
	VMOVUPD (AX), Y0    // cosines of the step
	VMOVUPD 32(AX), Y1
	VMOVUPD 64(AX), Y2  // its sines
	VMOVUPD 96(AX), Y3
	VMOVUPD 128(AX), Y4 // cosines now
	VMOVUPD 160(AX), Y5
	VMOVUPD 192(AX), Y6 // sines now
	VMOVUPD 224(AX), Y7
	VXORPD Y8, Y8, Y8   // sums
	VXORPD Y9, Y9, Y9
	VXORPD Y10, Y10, Y10
	VXORPD Y11, Y11, Y11

turns:
	VBROADCASTSD (SI), Y12
	VMULPD Y12, Y4, Y13
	VADDPD Y13, Y8, Y8
	VMULPD Y12, Y5, Y14
	VADDPD Y14, Y9, Y9
	VMULPD Y12, Y6, Y13
	VADDPD Y13, Y10, Y10
	VMULPD Y12, Y7, Y14
	VADDPD Y14, Y11, Y11

	VMULPD Y0, Y4, Y12 // c cos
	VMULPD Y2, Y6, Y13 // s sin
	VMULPD Y2, Y4, Y14 // c sin
	VMULPD Y0, Y6, Y15 // s cos
	VSUBPD Y13, Y12, Y4
	VADDPD Y15, Y14, Y6
	VMULPD Y1, Y5, Y12
	VMULPD Y3, Y7, Y13
	VMULPD Y3, Y5, Y14
	VMULPD Y1, Y7, Y15
	VSUBPD Y13, Y12, Y5
	VADDPD Y15, Y14, Y7

	ADDQ $8, SI
	SUBQ $1, CX
	JNZ  turns
	VMOVUPD Y8, (DI)
	VMOVUPD Y9, 32(DI)
	VMOVUPD Y10, 64(DI)
	VMOVUPD Y11, 96(DI)
	VZEROUPPER
	RET

// func betweenVectors(x, a, b *float64, n int, w float64) float64
TEXT ·betweenVectors(SB), NOSPLIT, $0-48
	MOVQ x+0(FP), SI
	MOVQ a+8(FP), AX
	MOVQ b+16(FP), BX
	MOVQ n+24(FP), CX
	VBROADCASTSD w+32(FP), Y8
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1

between:
	VMOVUPD (AX), Y2
	VMOVUPD 32(AX), Y3
	VMOVUPD (BX), Y4
	VMOVUPD 32(BX), Y5
	VSUBPD  Y2, Y4, Y4
	VSUBPD  Y3, Y5, Y5
	VMULPD  Y8, Y4, Y4
	VMULPD  Y8, Y5, Y5
	VADDPD  Y2, Y4, Y4
	VADDPD  Y3, Y5, Y5
	VMULPD  (SI), Y4, Y4
	VMULPD  32(SI), Y5, Y5
	VADDPD  Y4, Y0, Y0
	VADDPD  Y5, Y1, Y1
	ADDQ    $64, SI
	ADDQ    $64, AX
	ADDQ    $64, BX
	SUBQ    $8, CX
	JNZ     between
	VADDPD  Y1, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPD  X1, X0, X0
	VPERMILPD $1, X0, X1
	VADDSD  X1, X0, X0
	VMOVSD  X0, ret+40(FP)
	VZEROUPPER
	RET

DATA eights<>+0(SB)/8, $0.0
DATA eights<>+8(SB)/8, $1.0
DATA eights<>+16(SB)/8, $2.0
DATA eights<>+24(SB)/8, $3.0
DATA eights<>+32(SB)/8, $4.0
DATA eights<>+40(SB)/8, $8.0
GLOBL eights<>(SB), RODATA|NOPTR, $48

DATA signs<>+0(SB)/8, $0x0000000000000000
DATA signs<>+8(SB)/8, $0x8000000000000000
DATA signs<>+16(SB)/8, $0x0000000000000000
DATA signs<>+24(SB)/8, $0x8000000000000000
GLOBL signs<>(SB), RODATA|NOPTR, $32

// func kernelVectors(dst *float64, n int, first, whole, part, numerator float64)
TEXT ·kernelVectors(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ n+8(FP), CX
	VBROADCASTSD first+16(FP), Y0
	VBROADCASTSD whole+24(FP), Y2
	VBROADCASTSD part+32(FP), Y3
	VBROADCASTSD numerator+40(FP), Y4
	VXORPD signs<>(SB), Y4, Y4
	VBROADCASTSD eights<>+32(SB), Y5
	VADDPD eights<>(SB), Y0, Y0
	VADDPD Y5, Y0, Y1
	VBROADCASTSD eights<>+40(SB), Y5

kernel:
	VSUBPD Y2, Y0, Y6
	VSUBPD Y2, Y1, Y7
	VSUBPD Y3, Y6, Y6
	VSUBPD Y3, Y7, Y7
	VDIVPD Y6, Y4, Y6
	VDIVPD Y7, Y4, Y7
	VMOVUPD Y6, (DI)
	VMOVUPD Y7, 32(DI)
	VADDPD Y5, Y0, Y0
	VADDPD Y5, Y1, Y1
	ADDQ   $64, DI
	SUBQ   $8, CX
	JNZ    kernel
	VZEROUPPER
	RET
