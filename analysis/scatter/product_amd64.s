#include "textflag.h"

// Eight complex numbers side by side are a tile. For each row of the matrix the tile's real products with the real part of f
// gather in Y0–Y3 and those with its imaginary part in Y4–Y7; only at the end are the latter swapped and put to the former:
//
//	(a + ib)(c + id) = (ac, ad) + (−bd, bc)

#define BEGIN \
	VXORPD Y0, Y0, Y0; VXORPD Y1, Y1, Y1; VXORPD Y2, Y2, Y2; VXORPD Y3, Y3, Y3; \
	VXORPD Y4, Y4, Y4; VXORPD Y5, Y5, Y5; VXORPD Y6, Y6, Y6; VXORPD Y7, Y7, Y7; \
	MOVQ SI, R9; \
	MOVQ BX, R10; \
	MOVQ DX, R11

#define FACTOR \
	VBROADCASTSD (R9), Y8; \
	VBROADCASTSD 8(R9), Y9

#define ADD(source, withReal, withImag) \
	VFMADD231PD source, Y8, withReal; \
	VFMADD231PD source, Y9, withImag

#define NEXT \
	ADDQ $16, R9; \
	ADDQ R8, R10; \
	DECQ R11

#define COMBINE(withReal, withImag) \
	VPERMILPD $5, withImag, withImag; \
	VADDSUBPD withImag, withReal, withReal

#define COMBINEALL \
	COMBINE(Y0, Y4); COMBINE(Y1, Y5); COMBINE(Y2, Y6); COMBINE(Y3, Y7)

#define STORE(offset, product) \
	VMOVUPD offset(DI), Y8; \
	VSUBPD product, Y8, Y8; \
	VMOVUPD Y8, offset(DI)

#define STOREMASKED(offset, mask, product) \
	VMASKMOVPD offset(DI), mask, Y8; \
	VSUBPD product, Y8, Y8; \
	VMASKMOVPD Y8, mask, offset(DI)

// func subtractProductVectors(dst *complex128, n int, f *complex128, count int, src *complex128, stride int)
TEXT ·subtractProductVectors(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ n+8(FP), CX
	MOVQ f+16(FP), SI
	MOVQ count+24(FP), DX
	MOVQ src+32(FP), BX
	MOVQ stride+40(FP), R8
	SHLQ $4, R8 // in bytes

tile:
	CMPQ CX, $8
	JLT  rest
	BEGIN

tileRow:
	FACTOR
	VMOVUPD (R10), Y10
	VMOVUPD 32(R10), Y11
	VMOVUPD 64(R10), Y12
	VMOVUPD 96(R10), Y13
	ADD(Y10, Y0, Y4)
	ADD(Y11, Y1, Y5)
	ADD(Y12, Y2, Y6)
	ADD(Y13, Y3, Y7)
	NEXT
	JNZ tileRow

	COMBINEALL
	STORE(0, Y0)
	STORE(32, Y1)
	STORE(64, Y2)
	STORE(96, Y3)
	ADDQ $128, DI
	ADDQ $128, BX
	SUBQ $8, CX
	JMP  tile

	// fewer than eight are left: the same with what lies beyond masked
rest:
	TESTQ CX, CX
	JEQ   done
	BEGIN
	SHLQ    $4, CX
	LEAQ    mask<>+128(SB), AX
	SUBQ    CX, AX
	VMOVUPD (AX), Y12
	VMOVUPD 32(AX), Y13
	VMOVUPD 64(AX), Y14
	VMOVUPD 96(AX), Y15

restRow:
	FACTOR
	VMASKMOVPD (R10), Y12, Y10
	VMASKMOVPD 32(R10), Y13, Y11
	ADD(Y10, Y0, Y4)
	ADD(Y11, Y1, Y5)
	VMASKMOVPD 64(R10), Y14, Y10
	VMASKMOVPD 96(R10), Y15, Y11
	ADD(Y10, Y2, Y6)
	ADD(Y11, Y3, Y7)
	NEXT
	JNZ restRow

	COMBINEALL
	STOREMASKED(0, Y12, Y0)
	STOREMASKED(32, Y13, Y1)
	STOREMASKED(64, Y14, Y2)
	STOREMASKED(96, Y15, Y3)

done:
	VZEROUPPER
	RET

// func integralsVectors(dst, z *complex128, count int, value *float64, stride int)
//
// The products of four values with the real and with the imaginary part of each z gather in Y0 and Y1.
TEXT ·integralsVectors(SB), NOSPLIT, $0-40
	MOVQ dst+0(FP), DI
	MOVQ z+8(FP), SI
	MOVQ count+16(FP), CX
	MOVQ value+24(FP), BX
	MOVQ stride+32(FP), DX
	SHLQ $3, DX // in bytes
	VXORPD Y0, Y0, Y0
	VXORPD Y1, Y1, Y1

point:
	VMOVUPD (BX), Y2
	VBROADCASTSD (SI), Y3
	VBROADCASTSD 8(SI), Y4
	VFMADD231PD Y2, Y3, Y0
	VFMADD231PD Y2, Y4, Y1
	ADDQ $16, SI
	ADDQ DX, BX
	DECQ CX
	JNZ  point

	VUNPCKLPD Y1, Y0, Y2
	VUNPCKHPD Y1, Y0, Y3
	VPERM2F128 $0x20, Y3, Y2, Y0
	VPERM2F128 $0x31, Y3, Y2, Y1
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 32(DI)
	VZEROUPPER
	RET

// Ones for the eight complex numbers before the middle, zeros for those behind it.
DATA mask<>+0(SB)/8, $-1
DATA mask<>+8(SB)/8, $-1
DATA mask<>+16(SB)/8, $-1
DATA mask<>+24(SB)/8, $-1
DATA mask<>+32(SB)/8, $-1
DATA mask<>+40(SB)/8, $-1
DATA mask<>+48(SB)/8, $-1
DATA mask<>+56(SB)/8, $-1
DATA mask<>+64(SB)/8, $-1
DATA mask<>+72(SB)/8, $-1
DATA mask<>+80(SB)/8, $-1
DATA mask<>+88(SB)/8, $-1
DATA mask<>+96(SB)/8, $-1
DATA mask<>+104(SB)/8, $-1
DATA mask<>+112(SB)/8, $-1
DATA mask<>+120(SB)/8, $-1
GLOBL mask<>(SB), RODATA|NOPTR, $256
