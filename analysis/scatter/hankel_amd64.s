#include "textflag.h"

// func hankelVectors(h *[2]complex128, x *float64, n int) int
//
// hankelEnvelope for one x after the other. The four polynomials of a segment lie side by side, so that they are summed at once.
TEXT ·hankelVectors(SB), NOSPLIT, $0-32
	MOVQ h+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ n+16(FP), CX
	LEAQ ·envelopes(SB), R8
	LEAQ ·circlePoints(SB), R9
	XORQ AX, AX
	VMOVSD one<>(SB), X14
	VMOVSD limit<>(SB), X13

next:
	CMPQ AX, CX
	JGE  done
	VMOVSD (SI)(AX*8), X0
	VUCOMISD X14, X0
	JLS done // x ≤ 1 or not a number
	VUCOMISD X13, X0
	JCC done // x ≥ maxHankelX

	// u = 1/x, its segment, and t within it
	VDIVSD X0, X14, X1
	VSQRTSD X1, X1, X2
	VMULSD segments<>(SB), X1, X3
	VCVTTSD2SIQ X3, DX
	VXORPD X4, X4, X4
	VCVTSI2SDQ DX, X4, X4
	VSUBSD X4, X3, X3
	VSUBSD half<>(SB), X3, X3
	LEAQ (DX)(DX*2), DX
	SHLQ $6, DX // 192 bytes each
	ADDQ R8, DX
	VBROADCASTSD X3, Y3
	VMOVUPD 160(DX), Y4
	VFMADD213PD 128(DX), Y3, Y4
	VFMADD213PD 96(DX), Y3, Y4
	VFMADD213PD 64(DX), Y3, Y4
	VFMADD213PD 32(DX), Y3, Y4
	VFMADD213PD (DX), Y3, Y4

	// the nearest step around the circle, and the rest y
	VMULSD perStep<>(SB), X0, X5
	VADDSD half<>(SB), X5, X5
	VCVTTSD2SIQ X5, DX
	VXORPD X6, X6, X6
	VCVTSI2SDQ DX, X6, X6
	VFNMADD231SD stepHigh<>(SB), X6, X0
	VFNMADD231SD stepLow<>(SB), X6, X0
	VMULSD X0, X0, X7
	VMOVSD cos6<>(SB), X8
	VFMADD213SD cos4<>(SB), X7, X8
	VFMADD213SD cos2<>(SB), X7, X8
	VFMADD213SD X14, X7, X8
	VMULSD X2, X8, X8 // √u cos y
	VMOVSD sin5<>(SB), X9
	VFMADD213SD sin3<>(SB), X7, X9
	VFMADD213SD X14, X7, X9
	VMULSD X2, X0, X0
	VMULSD X0, X9, X9 // √u sin y
	ANDQ $127, DX
	SHLQ $4, DX
	VMOVSD (R9)(DX*1), X10
	VMOVSD 8(R9)(DX*1), X11
	VMULSD X10, X8, X5
	VFNMADD231SD X11, X9, X5
	VMULSD X10, X9, X6
	VFMADD231SD X11, X8, X6

	// (p + iq)(cos + i sin), twice
	VBROADCASTSD X5, Y5
	VBROADCASTSD X6, Y6
	VPERMILPD $5, Y4, Y7
	VMULPD Y6, Y7, Y7
	VFMADDSUB213PD Y7, Y5, Y4
	VMOVUPD Y4, (DI)
	ADDQ $32, DI
	INCQ AX
	JMP next

done:
	MOVQ AX, ret+24(FP)
	VZEROUPPER
	RET

#define CONSTANT(name, value) \
	DATA name<>(SB)/8, $value; \
	GLOBL name<>(SB), RODATA|NOPTR, $8

CONSTANT(one, 1.0)
CONSTANT(limit, 32768.0)
CONSTANT(segments, 64.0)
CONSTANT(half, 0.5)
CONSTANT(perStep, 0x40345f306dc9c883) // 128/2π
CONSTANT(stepHigh, 0x3fa921fb54400000) // 2π/128 to 33 bits, and the rest of it
CONSTANT(stepLow, 0x3d80b4611a626331)
CONSTANT(cos2, -0.5)
CONSTANT(cos4, 0.041666666666666664)
CONSTANT(cos6, -0.001388888888888889)
CONSTANT(sin3, -0.16666666666666666)
CONSTANT(sin5, 0.008333333333333333)
