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
	VBROADCASTSD (96+lane*8)(SI), Y5; \
	VBLENDPD $12, Y5, Y11, Y5; \
	VMULPD Y5, Y4, Y4; \
	VMOVUPD Y4, (lane*32)(DI)

// func measureVectors(fours *four, list *ray, n int)
TEXT ·measureVectors(SB), NOSPLIT, $0-24
	MOVQ fours+0(FP), DI
	MOVQ list+8(FP), SI
	MOVQ n+16(FP), CX
	VMOVUPD unity<>(SB), Y11

next:
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
	VPERM2F128 $0x31, Y6, Y4, Y3 // tx
	VPERM2F128 $0x31, Y7, Y5, Y8 // ty
	VMULPD Y0, Y0, Y2
	VFMADD231PD Y1, Y1, Y2
	VSQRTPD Y2, Y2
	VDIVPD Y2, Y11, Y4
	VSQRTPD Y4, Y5
	VMULPD Y0, Y3, Y0
	VFMADD231PD Y1, Y8, Y0
	VMULPD Y4, Y0, Y0
	VMOVUPD Y2, (DI)
	VMOVUPD Y4, 32(DI)
	VMOVUPD Y5, 64(DI)
	VMOVUPD Y0, 96(DI)
	ADDQ $128, SI
	ADDQ $128, DI
	DECQ CX
	JNE  next
	VZEROUPPER
	RET

// One more power of x² in each of the four series.
#define POWER(offset) \
	VBROADCASTSD (offset)(R13), Y8; \
	VBROADCASTSD (offset+8)(R13), Y9; \
	VBROADCASTSD (offset+16)(R13), Y10; \
	VBROADCASTSD (offset+24)(R13), Y12; \
	VFMADD213PD Y8, Y0, Y4; \
	VFMADD213PD Y9, Y0, Y5; \
	VFMADD213PD Y10, Y0, Y6; \
	VFMADD213PD Y12, Y0, Y7

// func traceVectors(traced *[2]complex128, fours *four, n int, k, inverseK, rootK float64) int
//
// Where all four kr are beyond 1: four rays at once up to the polynomials' variable and e^{ix} √u, then one by one as in hankelVectors. Where none is: the series, four at once.
TEXT ·traceVectors(SB), NOSPLIT, $96-56
	MOVQ traced+0(FP), DI
	MOVQ fours+8(FP), SI
	MOVQ n+16(FP), CX
	VBROADCASTSD k+24(FP), Y15
	VBROADCASTSD inverseK+32(FP), Y14
	VBROADCASTSD rootK+40(FP), Y13
	VMOVUPD unity<>(SB), Y11
	LEAQ ·envelopes(SB), R8
	LEAQ ·series(SB), R13
	XORQ AX, AX

next:
	CMPQ AX, CX
	JGE  done
	VMULPD (SI), Y15, Y3 // x = kr
	VCMPPD $0x1e, least<>(SB), Y3, Y4 // greater
	VCMPPD $0x11, most<>(SB), Y3, Y5 // less
	VANDPD Y4, Y5, Y4
	VMOVMSKPD Y4, DX
	CMPL DX, $15
	JNE  near

	// u = 1/x, its segment, and t within it
	VMULPD 32(SI), Y14, Y4
	VMULPD 64(SI), Y13, Y5
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

after:
	ADDQ $128, DI
	ADDQ $128, SI
	INCQ AX
	JMP  next

near:
	VCMPPD $0x12, Y11, Y3, Y4 // not greater
	VCMPPD $0x1e, tiny<>(SB), Y3, Y5
	VANDPD Y4, Y5, Y4
	VMOVMSKPD Y4, DX
	CMPL DX, $15
	JNE  done

	// ln x: with x = 2^e m, m between √½ and √2, it is e ln 2 + 2 artanh s, s = (m − 1)/(m + 1)
	VPSRLQ $52, Y3, Y1
	VPOR integer<>(SB), Y1, Y1
	VSUBPD bias<>(SB), Y1, Y1
	VANDPD mantissa<>(SB), Y3, Y2
	VORPD Y11, Y2, Y2
	VCMPPD $0x1e, rootTwo<>(SB), Y2, Y4
	VANDPD Y11, Y4, Y5
	VADDPD Y5, Y1, Y1
	VMULPD middle<>(SB), Y2, Y5
	VBLENDVPD Y4, Y5, Y2, Y2
	VADDPD Y11, Y2, Y4
	VSUBPD Y11, Y2, Y2
	VDIVPD Y4, Y2, Y2
	VMULPD Y2, Y2, Y4
	VMOVUPD artanh19<>(SB), Y5
	VFMADD213PD artanh17<>(SB), Y4, Y5
	VFMADD213PD artanh15<>(SB), Y4, Y5
	VFMADD213PD artanh13<>(SB), Y4, Y5
	VFMADD213PD artanh11<>(SB), Y4, Y5
	VFMADD213PD artanh9<>(SB), Y4, Y5
	VFMADD213PD artanh7<>(SB), Y4, Y5
	VFMADD213PD artanh5<>(SB), Y4, Y5
	VFMADD213PD artanh3<>(SB), Y4, Y5
	VMULPD Y4, Y5, Y5
	VFMADD213PD Y2, Y2, Y5
	VADDPD Y5, Y5, Y5
	VFMADD231PD lnTwo<>(SB), Y1, Y5
	VMOVUPD shift<>(SB), Y1
	VFMADD231PD twoOverPi<>(SB), Y5, Y1 // l

	VMULPD Y3, Y3, Y0
	VBROADCASTSD 224(R13), Y4
	VBROADCASTSD 232(R13), Y5
	VBROADCASTSD 240(R13), Y6
	VBROADCASTSD 248(R13), Y7
	POWER(192)
	POWER(160)
	POWER(128)
	POWER(96)
	POWER(64)
	POWER(32)
	POWER(0)
	VFMADD231PD Y4, Y1, Y5
	VMULPD Y3, Y6, Y6
	VMULPD Y3, Y7, Y7
	VFMADD231PD Y6, Y1, Y7
	VMULPD 32(SI), Y14, Y8
	VFNMADD231PD twoOverPi<>(SB), Y8, Y7
	VMOVUPD 96(SI), Y8
	VMULPD Y8, Y6, Y6
	VMULPD Y8, Y7, Y7
	VUNPCKLPD Y5, Y4, Y8
	VUNPCKHPD Y5, Y4, Y9
	VUNPCKLPD Y7, Y6, Y10
	VUNPCKHPD Y7, Y6, Y12
	VPERM2F128 $0x20, Y10, Y8, Y0
	VPERM2F128 $0x20, Y12, Y9, Y1
	VPERM2F128 $0x31, Y10, Y8, Y2
	VPERM2F128 $0x31, Y12, Y9, Y3
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	VMOVUPD Y2, 64(DI)
	VMOVUPD Y3, 96(DI)
	JMP after

done:
	MOVQ AX, ret+48(FP)
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
CONSTANT(artanh3, 0.3333333333333333)
CONSTANT(artanh5, 0.2)
CONSTANT(artanh7, 0.14285714285714285)
CONSTANT(artanh9, 0.1111111111111111)
CONSTANT(artanh11, 0.09090909090909091)
CONSTANT(artanh13, 0.07692307692307693)
CONSTANT(artanh15, 0.06666666666666667)
CONSTANT(artanh17, 0.058823529411764705)
CONSTANT(artanh19, 0.05263157894736842)
CONSTANT(tiny, 1e-300)
CONSTANT(integer, 0x4330000000000000) // 2^52
CONSTANT(bias, 4503599627371519.0) // 2^52 + 1023
CONSTANT(mantissa, 0x000fffffffffffff)
CONSTANT(rootTwo, 1.4142135623730951)
CONSTANT(lnTwo, 0.6931471805599453)
CONSTANT(twoOverPi, 0.6366197723675814)
CONSTANT(shift, -0.07380429510868722) // 2/π (γ − ln 2)
