#include "textflag.h"

// One of four rays: its polynomials, turned by e^{ix} √u; the second function times the part of the direction.
#define RAY(segment, lane) \
	VBROADCASTSD (lane*8)(SP), Y3; \
	VMOVUPD 160(R8)(segment*1), Y4; \
	VFMADD213PD 128(R8)(segment*1), Y3, Y4; \
	VFMADD213PD 96(R8)(segment*1), Y3, Y4; \
	VFMADD213PD 64(R8)(segment*1), Y3, Y4; \
	VFMADD213PD 32(R8)(segment*1), Y3, Y4; \
	VFMADD213PD (R8)(segment*1), Y3, Y4; \
	VBROADCASTSD (32+lane*8)(SP), Y5; \
	VBROADCASTSD (64+lane*8)(SP), Y6; \
	VPERMILPD $5, Y4, Y7; \
	VMULPD Y6, Y7, Y7; \
	VFMADDSUB213PD Y7, Y5, Y4; \
	VBROADCASTSD (96+lane*8)(SP), Y5; \
	VBLENDPD $12, Y5, Y11, Y5; \
	VMULPD Y5, Y4, Y4; \
	VMOVUPD Y4, (lane*32)(DI)

// func traceVectors(traced *[2]complex128, list *ray, n int, k, inverseK float64) int
//
// Four rays at once up to the polynomials' variable and e^{ix} √u, then one by one as in hankelVectors.
TEXT ·traceVectors(SB), NOSPLIT, $128-48
	MOVQ traced+0(FP), DI
	MOVQ list+8(FP), SI
	MOVQ n+16(FP), CX
	VBROADCASTSD k+24(FP), Y15
	VBROADCASTSD inverseK+32(FP), Y14
	VMOVUPD unity<>(SB), Y11
	LEAQ ·envelopes(SB), R8
	XORQ AX, AX

next:
	CMPQ AX, CX
	JGE  done
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VMOVUPD 64(SI), Y2
	VMOVUPD 96(SI), Y3
	VUNPCKLPD Y1, Y0, Y4
	VUNPCKHPD Y1, Y0, Y5
	VUNPCKLPD Y3, Y2, Y6
	VUNPCKHPD Y3, Y2, Y7
	VPERM2F128 $0x20, Y6, Y4, Y0 // dx
	VPERM2F128 $0x20, Y7, Y5, Y1 // dy
	VPERM2F128 $0x31, Y6, Y4, Y13 // tx
	VPERM2F128 $0x31, Y7, Y5, Y12 // ty
	VMULPD Y0, Y0, Y2
	VFMADD231PD Y1, Y1, Y2
	VSQRTPD Y2, Y2 // r
	VMULPD Y15, Y2, Y3 // x = kr
	VCMPPD $0x1e, least<>(SB), Y3, Y4 // greater
	VCMPPD $0x11, most<>(SB), Y3, Y5 // less
	VANDPD Y4, Y5, Y4
	VMOVMSKPD Y4, DX
	CMPL DX, $15
	JNE  done
	VDIVPD Y2, Y11, Y4
	VMULPD Y0, Y13, Y0
	VFMADD231PD Y1, Y12, Y0
	VMULPD Y4, Y0, Y0
	VMOVUPD Y0, 96(SP) // direction·t

	// u = 1/x, its segment, and t within it
	VMULPD Y14, Y4, Y4
	VSQRTPD Y4, Y5
	VMULPD perSegment<>(SB), Y4, Y6
	VCVTTPD2DQY Y6, X7
	VCVTDQ2PD X7, Y8
	VSUBPD Y8, Y6, Y6
	VSUBPD middle<>(SB), Y6, Y6
	VMOVUPD Y6, (SP)
	VPSLLD $1, X7, X8
	VPADDD X7, X8, X7
	VPSLLD $6, X7, X7 // 192 bytes each
	VMOVQ X7, R9
	MOVL R9, R10
	SHRQ $32, R9
	VPEXTRQ $1, X7, R11
	MOVL R11, R12
	SHRQ $32, R11

	// the nearest quarter of the circle and the rest y, as in hankelEnvelope; sine and cosine of y
	VMULPD perQuarter<>(SB), Y3, Y9
	VROUNDPD $0, Y9, Y9
	VCVTTPD2DQY Y9, X10
	VFNMADD231PD quarterHigh<>(SB), Y9, Y3
	VFNMADD231PD quarterLow<>(SB), Y9, Y3
	VMULPD Y3, Y3, Y7
	VMOVUPD sin15<>(SB), Y8
	VMOVUPD cos16<>(SB), Y2
	VFMADD213PD sin13<>(SB), Y7, Y8
	VFMADD213PD cos14<>(SB), Y7, Y2
	VFMADD213PD sin11<>(SB), Y7, Y8
	VFMADD213PD cos12<>(SB), Y7, Y2
	VFMADD213PD sin9<>(SB), Y7, Y8
	VFMADD213PD cos10<>(SB), Y7, Y2
	VFMADD213PD sin7<>(SB), Y7, Y8
	VFMADD213PD cos8<>(SB), Y7, Y2
	VFMADD213PD sin5<>(SB), Y7, Y8
	VFMADD213PD cos6<>(SB), Y7, Y2
	VFMADD213PD sin3<>(SB), Y7, Y8
	VFMADD213PD cos4<>(SB), Y7, Y2
	VMULPD Y7, Y8, Y8
	VFMADD213PD cos2<>(SB), Y7, Y2
	VFMADD213PD Y3, Y3, Y8 // sin y
	VFMADD213PD Y11, Y7, Y2 // cos y

	// an odd count of quarters exchanges them; bit 1 of the count turns the sine over, bit 1 of the count plus one the cosine
	VPMOVZXDQ X10, Y10
	VPSLLQ $63, Y10, Y1
	VPSRLQ $1, Y10, Y9
	VPSLLQ $63, Y9, Y9
	VBLENDVPD Y1, Y8, Y2, Y6
	VBLENDVPD Y1, Y2, Y8, Y7
	VXORPD Y9, Y7, Y7
	VXORPD Y1, Y9, Y9
	VXORPD Y9, Y6, Y6
	VMULPD Y5, Y6, Y6
	VMULPD Y5, Y7, Y7
	VMOVUPD Y6, 32(SP)
	VMOVUPD Y7, 64(SP)

	RAY(R10, 0)
	RAY(R9, 1)
	RAY(R12, 2)
	RAY(R11, 3)
	ADDQ $128, DI
	ADDQ $128, SI
	ADDQ $4, AX
	JMP  next

done:
	MOVQ AX, ret+40(FP)
	VZEROUPPER
	RET

#define CONSTANT(name, value) \
	DATA name<>+0(SB)/8, $value; \
	DATA name<>+8(SB)/8, $value; \
	DATA name<>+16(SB)/8, $value; \
	DATA name<>+24(SB)/8, $value; \
	GLOBL name<>(SB), RODATA|NOPTR, $32

CONSTANT(unity, 1.0)
CONSTANT(least, 1.000001) // so that rounding keeps u below 1
CONSTANT(most, 32767.0)
CONSTANT(perSegment, 64.0)
CONSTANT(middle, 0.5)
CONSTANT(perQuarter, 0x3fe45f306dc9c883) // 2/π
CONSTANT(quarterHigh, 0x3ff921fb54400000) // π/2 to 33 bits, and the rest of it
CONSTANT(quarterLow, 0x3dd0b4611a626331)
CONSTANT(sin3, -0.16666666666666666)
CONSTANT(sin5, 0.008333333333333333)
CONSTANT(sin7, -0.0001984126984126984)
CONSTANT(sin9, 2.7557319223985893e-06)
CONSTANT(sin11, -2.505210838544172e-08)
CONSTANT(sin13, 1.6059043836821613e-10)
CONSTANT(sin15, -7.647163731819816e-13)
CONSTANT(cos2, -0.5)
CONSTANT(cos4, 0.041666666666666664)
CONSTANT(cos6, -0.001388888888888889)
CONSTANT(cos8, 2.48015873015873e-05)
CONSTANT(cos10, -2.755731922398589e-07)
CONSTANT(cos12, 2.08767569878681e-09)
CONSTANT(cos14, -1.1470745597729725e-11)
CONSTANT(cos16, 4.779477332387385e-14)
