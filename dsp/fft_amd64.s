#include "textflag.h"

// A tile holds four columns side by side: per row 64 bytes, four real parts and then four imaginary ones. See fft_tiles.go.

// The product (re, im)·(wr, wi), rounded as each of the two sums is; re and im are lost.
#define TIMES(re, im, wr, wi, outRe, outIm) \
	VMULPD im, wi, outRe; \
	VMULPD re, wi, outIm; \
	VFMSUB231PD wr, re, outRe; \
	VFMADD231PD wr, im, outIm

// Arguments of all passes: R9 is the distance of inputs, R13 that of outputs, in bytes.
#define ARGUMENTS \
	MOVQ dst+0(FP), DI; \
	MOVQ src+8(FP), SI; \
	MOVQ tw+16(FP), DX; \
	MOVQ m+24(FP), BX; \
	MOVQ s+32(FP), CX; \
	MOVQ CX, R13; \
	SHLQ $6, R13; \
	MOVQ BX, R9; \
	IMULQ R13, R9

// Arguments of turnOut and turnIn: R8 is the distance of blocks in bytes, R10 that of rows in the tile and in lanes, R11 that in turns.
#define TURNS \
	MOVQ turns+16(FP), DX; \
	MOVQ lanes+24(FP), BX; \
	MOVQ stride+32(FP), R8; \
	MOVQ step+40(FP), R10; \
	MOVQ n+48(FP), CX; \
	MOVQ R10, R11; \
	SHLQ $3, R8; \
	SHLQ $6, R10; \
	SHLQ $4, R11

// func pass2Vectors(dst, src, tw *float64, m, s int)
TEXT ·pass2Vectors(SB), NOSPLIT, $0-40
	ARGUMENTS

outer2:
	VBROADCASTSD (DX), Y10
	VBROADCASTSD 8(DX), Y11
	MOVQ CX, AX

inner2:
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VMOVUPD (SI)(R9*1), Y2
	VMOVUPD 32(SI)(R9*1), Y3
	VADDPD  Y2, Y0, Y4
	VADDPD  Y3, Y1, Y5
	VSUBPD  Y2, Y0, Y6
	VSUBPD  Y3, Y1, Y7
	VMOVUPD Y4, (DI)
	VMOVUPD Y5, 32(DI)
	TIMES(Y6, Y7, Y10, Y11, Y2, Y3)
	VMOVUPD Y2, (DI)(R13*1)
	VMOVUPD Y3, 32(DI)(R13*1)
	ADDQ    $64, SI
	ADDQ    $64, DI
	DECQ    AX
	JNZ     inner2

	ADDQ R13, DI
	ADDQ $16, DX
	DECQ BX
	JNZ  outer2
	VZEROUPPER
	RET

// func pass3Vectors(dst, src, tw *float64, m, s int)
TEXT ·pass3Vectors(SB), NOSPLIT, $0-40
	ARGUMENTS
	VMOVUPD half<>(SB), Y14
	VMOVUPD sin60<>(SB), Y15

outer3:
	VBROADCASTSD (DX), Y10
	VBROADCASTSD 8(DX), Y11
	VBROADCASTSD 16(DX), Y12
	VBROADCASTSD 24(DX), Y13
	MOVQ CX, AX

inner3:
	VMOVUPD (SI)(R9*1), Y0
	VMOVUPD 32(SI)(R9*1), Y1
	VMOVUPD (SI)(R9*2), Y2
	VMOVUPD 32(SI)(R9*2), Y3
	VADDPD  Y2, Y0, Y4 // sum
	VADDPD  Y3, Y1, Y5
	VSUBPD  Y2, Y0, Y6 // difference times sin 60°
	VSUBPD  Y3, Y1, Y7
	VMULPD  Y15, Y6, Y6
	VMULPD  Y15, Y7, Y7
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VADDPD  Y4, Y0, Y2
	VADDPD  Y5, Y1, Y3
	VMOVUPD Y2, (DI)
	VMOVUPD Y3, 32(DI)
	VFNMADD231PD Y14, Y4, Y0 // first less half the sum
	VFNMADD231PD Y14, Y5, Y1
	VADDPD  Y7, Y0, Y2 // less i times the difference
	VSUBPD  Y6, Y1, Y3
	VSUBPD  Y7, Y0, Y4
	VADDPD  Y6, Y1, Y5
	TIMES(Y2, Y3, Y10, Y11, Y8, Y9)
	VMOVUPD Y8, (DI)(R13*1)
	VMOVUPD Y9, 32(DI)(R13*1)
	TIMES(Y4, Y5, Y12, Y13, Y8, Y9)
	VMOVUPD Y8, (DI)(R13*2)
	VMOVUPD Y9, 32(DI)(R13*2)
	ADDQ    $64, SI
	ADDQ    $64, DI
	DECQ    AX
	JNZ     inner3

	LEAQ (DI)(R13*2), DI
	ADDQ $32, DX
	DECQ BX
	JNZ  outer3
	VZEROUPPER
	RET

// func pass4Vectors(dst, src, tw *float64, m, s int)
TEXT ·pass4Vectors(SB), NOSPLIT, $0-40
	ARGUMENTS
	LEAQ (R9)(R9*2), R10
	LEAQ (R13)(R13*2), R14

outer4:
	VBROADCASTSD (DX), Y10
	VBROADCASTSD 8(DX), Y11
	VBROADCASTSD 16(DX), Y12
	VBROADCASTSD 24(DX), Y13
	VBROADCASTSD 32(DX), Y14
	VBROADCASTSD 40(DX), Y15
	MOVQ CX, AX

inner4:
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VMOVUPD (SI)(R9*2), Y2
	VMOVUPD 32(SI)(R9*2), Y3
	VADDPD  Y2, Y0, Y4 // first and third
	VADDPD  Y3, Y1, Y6
	VSUBPD  Y2, Y0, Y5
	VSUBPD  Y3, Y1, Y7
	VMOVUPD (SI)(R9*1), Y0
	VMOVUPD 32(SI)(R9*1), Y1
	VMOVUPD (SI)(R10*1), Y2
	VMOVUPD 32(SI)(R10*1), Y3
	VADDPD  Y2, Y0, Y8 // second and fourth
	VSUBPD  Y2, Y0, Y9
	VADDPD  Y3, Y1, Y0
	VSUBPD  Y3, Y1, Y1
	VADDPD  Y8, Y4, Y2
	VADDPD  Y0, Y6, Y3
	VSUBPD  Y8, Y4, Y4
	VSUBPD  Y0, Y6, Y6
	VMOVUPD Y2, (DI)
	VMOVUPD Y3, 32(DI)
	VADDPD  Y1, Y5, Y8
	VSUBPD  Y9, Y7, Y0
	VSUBPD  Y1, Y5, Y5
	VADDPD  Y9, Y7, Y7
	TIMES(Y8, Y0, Y10, Y11, Y2, Y3)
	VMOVUPD Y2, (DI)(R13*1)
	VMOVUPD Y3, 32(DI)(R13*1)
	TIMES(Y4, Y6, Y12, Y13, Y8, Y9)
	VMOVUPD Y8, (DI)(R13*2)
	VMOVUPD Y9, 32(DI)(R13*2)
	TIMES(Y5, Y7, Y14, Y15, Y2, Y3)
	VMOVUPD Y2, (DI)(R14*1)
	VMOVUPD Y3, 32(DI)(R14*1)
	ADDQ    $64, SI
	ADDQ    $64, DI
	DECQ    AX
	JNZ     inner4

	ADDQ R14, DI
	ADDQ $48, DX
	DECQ BX
	JNZ  outer4
	VZEROUPPER
	RET

// func pass5Vectors(dst, src, tw *float64, m, s int)
TEXT ·pass5Vectors(SB), NOSPLIT, $0-40
	ARGUMENTS
	LEAQ (R9)(R9*2), R10
	LEAQ (R13)(R13*2), R14

inner5all:
	MOVQ CX, AX

inner5:
	VMOVUPD (SI)(R9*1), Y0
	VMOVUPD 32(SI)(R9*1), Y1
	VMOVUPD (SI)(R9*4), Y2
	VMOVUPD 32(SI)(R9*4), Y3
	VADDPD  Y2, Y0, Y4  // second and fifth: sum
	VADDPD  Y3, Y1, Y5
	VSUBPD  Y2, Y0, Y6  // and difference
	VSUBPD  Y3, Y1, Y7
	VMOVUPD (SI)(R9*2), Y0
	VMOVUPD 32(SI)(R9*2), Y1
	VMOVUPD (SI)(R10*1), Y2
	VMOVUPD 32(SI)(R10*1), Y3
	VADDPD  Y2, Y0, Y8  // third and fourth: sum
	VADDPD  Y3, Y1, Y9
	VSUBPD  Y2, Y0, Y10 // and difference
	VSUBPD  Y3, Y1, Y11
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VADDPD  Y8, Y4, Y2
	VADDPD  Y9, Y5, Y3
	VADDPD  Y2, Y0, Y2
	VADDPD  Y3, Y1, Y3
	VMOVUPD Y2, (DI)
	VMOVUPD Y3, 32(DI)

	// real coefficients: Y12, Y13 for the outputs 1 and 4, Y0, Y1 for 2 and 3
	VMOVUPD Y0, Y12
	VMOVUPD Y1, Y13
	VFMADD231PD cos72<>(SB), Y4, Y12
	VFMADD231PD cos72<>(SB), Y5, Y13
	VFMADD231PD cos144<>(SB), Y8, Y12
	VFMADD231PD cos144<>(SB), Y9, Y13
	VFMADD231PD cos144<>(SB), Y4, Y0
	VFMADD231PD cos144<>(SB), Y5, Y1
	VFMADD231PD cos72<>(SB), Y8, Y0
	VFMADD231PD cos72<>(SB), Y9, Y1

	// imaginary ones: Y2, Y3 for 1 and 4, Y4, Y5 for 2 and 3
	VMULPD sin72<>(SB), Y6, Y2
	VMULPD sin72<>(SB), Y7, Y3
	VFMADD231PD sin144<>(SB), Y10, Y2
	VFMADD231PD sin144<>(SB), Y11, Y3
	VMULPD sin144<>(SB), Y6, Y4
	VMULPD sin144<>(SB), Y7, Y5
	VFNMADD231PD sin72<>(SB), Y10, Y4
	VFNMADD231PD sin72<>(SB), Y11, Y5

	VADDPD Y3, Y12, Y6 // 1
	VSUBPD Y2, Y13, Y7
	VSUBPD Y3, Y12, Y8 // 4
	VADDPD Y2, Y13, Y9
	VADDPD Y5, Y0, Y2  // 2
	VSUBPD Y4, Y1, Y3
	VSUBPD Y5, Y0, Y10 // 3
	VADDPD Y4, Y1, Y11

	VBROADCASTSD (DX), Y0
	VBROADCASTSD 8(DX), Y1
	TIMES(Y6, Y7, Y0, Y1, Y4, Y5)
	VMOVUPD Y4, (DI)(R13*1)
	VMOVUPD Y5, 32(DI)(R13*1)
	VBROADCASTSD 16(DX), Y0
	VBROADCASTSD 24(DX), Y1
	TIMES(Y2, Y3, Y0, Y1, Y4, Y5)
	VMOVUPD Y4, (DI)(R13*2)
	VMOVUPD Y5, 32(DI)(R13*2)
	VBROADCASTSD 32(DX), Y0
	VBROADCASTSD 40(DX), Y1
	TIMES(Y10, Y11, Y0, Y1, Y4, Y5)
	VMOVUPD Y4, (DI)(R14*1)
	VMOVUPD Y5, 32(DI)(R14*1)
	VBROADCASTSD 48(DX), Y0
	VBROADCASTSD 56(DX), Y1
	TIMES(Y8, Y9, Y0, Y1, Y4, Y5)
	VMOVUPD Y4, (DI)(R13*4)
	VMOVUPD Y5, 32(DI)(R13*4)
	ADDQ    $64, SI
	ADDQ    $64, DI
	DECQ    AX
	JNZ     inner5

	LEAQ (DI)(R13*4), DI
	ADDQ $64, DX
	DECQ BX
	JNZ  inner5all
	VZEROUPPER
	RET

// func gatherVectors(tile, src *float64, stride, n int)
TEXT ·gatherVectors(SB), NOSPLIT, $0-32
	MOVQ tile+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ stride+16(FP), R8
	MOVQ n+24(FP), CX
	SHLQ $3, R8

gather:
	PREFETCHT1 64(SI) // of the next four columns
	VMOVUPD (SI), Y0
	VMOVUPD 32(SI), Y1
	VUNPCKLPD Y1, Y0, Y2
	VUNPCKHPD Y1, Y0, Y3
	VPERMPD $0xd8, Y2, Y2
	VPERMPD $0xd8, Y3, Y3
	VMOVUPD Y2, (DI)
	VMOVUPD Y3, 32(DI)
	ADDQ    R8, SI
	ADDQ    $64, DI
	DECQ    CX
	JNZ     gather
	VZEROUPPER
	RET

// func scatterSwappedVectors(dst, tile *float64, stride, n int)
TEXT ·scatterSwappedVectors(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ tile+8(FP), SI
	MOVQ stride+16(FP), R8
	MOVQ n+24(FP), CX
	SHLQ $3, R8

scatter:
	VPERMPD $0xd8, (SI), Y1
	VPERMPD $0xd8, 32(SI), Y0
	VUNPCKLPD Y1, Y0, Y2
	VUNPCKHPD Y1, Y0, Y3
	VMOVUPD Y2, (DI)
	VMOVUPD Y3, 32(DI)
	ADDQ    R8, DI
	ADDQ    $64, SI
	DECQ    CX
	JNZ     scatter
	VZEROUPPER
	RET

// Y0 to Y3 become the columns of the rows a to d.
#define TRANSPOSE(a, b, c, d) \
	VUNPCKLPD b, a, Y4; \
	VUNPCKHPD b, a, Y5; \
	VUNPCKLPD d, c, Y6; \
	VUNPCKHPD d, c, Y7; \
	VPERM2F128 $0x20, Y6, Y4, Y0; \
	VPERM2F128 $0x20, Y7, Y5, Y1; \
	VPERM2F128 $0x31, Y6, Y4, Y2; \
	VPERM2F128 $0x31, Y7, Y5, Y3

// The factor of a row, to Y4 and Y5.
#define FACTOR \
	VBROADCASTSD (DX), Y0; \
	VBROADCASTSD 8(DX), Y1; \
	VMOVUPD (BX), Y2; \
	VMOVUPD 32(BX), Y3; \
	TIMES(Y2, Y3, Y0, Y1, Y4, Y5); \
	ADDQ R11, DX; \
	ADDQ R10, BX

#define ROWOUT(outRe, outIm) \
	FACTOR; \
	VMOVUPD (SI), Y2; \
	VMOVUPD 32(SI), Y3; \
	TIMES(Y2, Y3, Y4, Y5, outRe, outIm); \
	ADDQ R10, SI

// func turnOutVectors(v, tile, turns, lanes *float64, stride, step, n int)
TEXT ·turnOutVectors(SB), NOSPLIT, $0-56
	MOVQ v+0(FP), DI
	MOVQ tile+8(FP), SI
	TURNS

turnOut:
	ROWOUT(Y8, Y12)
	ROWOUT(Y9, Y13)
	ROWOUT(Y10, Y14)
	ROWOUT(Y11, Y15)
	TRANSPOSE(Y8, Y9, Y10, Y11)
	VMOVUPD Y0, (DI)
	VMOVUPD Y1, 64(DI)
	VMOVUPD Y2, 128(DI)
	VMOVUPD Y3, 192(DI)
	TRANSPOSE(Y12, Y13, Y14, Y15)
	VMOVUPD Y0, 32(DI)
	VMOVUPD Y1, 96(DI)
	VMOVUPD Y2, 160(DI)
	VMOVUPD Y3, 224(DI)
	ADDQ    R8, DI
	DECQ    CX
	JNZ     turnOut
	VZEROUPPER
	RET

#define ROWIN(inRe, inIm) \
	FACTOR; \
	TIMES(inRe, inIm, Y4, Y5, Y0, Y1); \
	VMOVUPD Y0, (DI); \
	VMOVUPD Y1, 32(DI); \
	ADDQ R10, DI

// func turnInVectors(tile, v, turns, lanes *float64, stride, step, n int)
TEXT ·turnInVectors(SB), NOSPLIT, $0-56
	MOVQ tile+0(FP), DI
	MOVQ v+8(FP), SI
	TURNS

turnIn:
	PREFETCHT1 256(SI) // the next four columns
	PREFETCHT1 320(SI)
	PREFETCHT1 384(SI)
	PREFETCHT1 448(SI)
	VMOVUPD (SI), Y8
	VMOVUPD 64(SI), Y9
	VMOVUPD 128(SI), Y10
	VMOVUPD 192(SI), Y11
	TRANSPOSE(Y8, Y9, Y10, Y11)
	VMOVAPD Y0, Y8
	VMOVAPD Y1, Y9
	VMOVAPD Y2, Y10
	VMOVAPD Y3, Y11
	VMOVUPD 32(SI), Y12
	VMOVUPD 96(SI), Y13
	VMOVUPD 160(SI), Y14
	VMOVUPD 224(SI), Y15
	TRANSPOSE(Y12, Y13, Y14, Y15)
	VMOVAPD Y0, Y12
	VMOVAPD Y1, Y13
	VMOVAPD Y2, Y14
	VMOVAPD Y3, Y15
	ROWIN(Y8, Y12)
	ROWIN(Y9, Y13)
	ROWIN(Y10, Y14)
	ROWIN(Y11, Y15)
	ADDQ    R8, SI
	DECQ    CX
	JNZ     turnIn
	VZEROUPPER
	RET

// func filterVectors(a, b, p *float64, lanes, turns *complex128, n int)
TEXT ·filterVectors(SB), NOSPLIT, $0-48
	MOVQ a+0(FP), SI
	MOVQ b+8(FP), DI
	MOVQ p+16(FP), DX
	MOVQ lanes+24(FP), BX
	MOVQ turns+32(FP), R8
	MOVQ n+40(FP), CX
	MOVQ CX, AX
	SHLQ $6, AX
	LEAQ -64(DI)(AX*1), DI
	VMOVUPD (BX), Y0
	VMOVUPD 32(BX), Y1
	VUNPCKLPD Y1, Y0, Y14
	VUNPCKHPD Y1, Y0, Y15
	VPERMPD $0xd8, Y14, Y14 // of the four columns: cos
	VPERMPD $0xd8, Y15, Y15 // and −sin

filter:
	VBROADCASTSD (R8), Y0
	VBROADCASTSD 8(R8), Y1
	VMULPD Y1, Y15, Y4
	VMULPD Y0, Y15, Y5
	VFMSUB231PD Y0, Y14, Y4 // cos φ
	VFMADD231PD Y1, Y14, Y5 // −sin φ
	VMOVUPD (SI), Y0   // z
	VMOVUPD 32(SI), Y1
	VMOVUPD (DI), Y2   // b, its partner, not yet conjugated
	VMOVUPD 32(DI), Y3

	VMULPD Y5, Y0, Y6 // u = jc cos φ − z sin φ: re = bi cos φ − zr sin φ
	VMULPD Y5, Y1, Y7 // im = br cos φ − zi sin φ
	VMULPD Y5, Y2, Y8 // v = jz cos φ − c sin φ: re = −zi cos φ − br sin φ
	VMULPD Y5, Y3, Y9 // −im = −zr cos φ − bi sin φ
	VFMADD231PD Y4, Y3, Y6
	VFMADD231PD Y4, Y2, Y7
	VFNMADD231PD Y4, Y1, Y8
	VFNMADD231PD Y4, Y0, Y9

	VMOVUPD (DX), Y4   // S
	VMOVUPD 32(DX), Y5
	VMULPD Y4, Y0, Y10 // re = Sr zr − Si zi + Dr ur − Di ui
	VMULPD Y4, Y1, Y11 // im = Sr zi + Si zr + Dr ui + Di ur
	VMULPD Y4, Y2, Y12 // re = Sr br + Si bi − Dr vr + Di vi
	VMULPD Y4, Y3, Y13 // im, conjugated = Sr bi − Si br + Dr vi + Di vr
	VFNMADD231PD Y5, Y1, Y10
	VFMADD231PD Y5, Y0, Y11
	VFMADD231PD Y5, Y3, Y12
	VFNMADD231PD Y5, Y2, Y13
	VMOVUPD 64(DX), Y4 // D
	VMOVUPD 96(DX), Y5
	VFMADD231PD Y4, Y6, Y10
	VFMADD231PD Y4, Y7, Y11
	VFNMADD231PD Y4, Y8, Y12
	VFNMADD231PD Y4, Y9, Y13
	VFNMADD231PD Y5, Y7, Y10
	VFMADD231PD Y5, Y6, Y11
	VFNMADD231PD Y5, Y9, Y12
	VFMADD231PD Y5, Y8, Y13
	VMOVUPD Y11, (SI) // swapped: what follows goes backwards
	VMOVUPD Y10, 32(SI)
	VMOVUPD Y13, (DI)
	VMOVUPD Y12, 32(DI)
	ADDQ $64, SI
	SUBQ $64, DI
	ADDQ $128, DX
	ADDQ $16, R8
	DECQ CX
	JNZ  filter
	VZEROUPPER
	RET

#define FOUR(name, value) \
DATA name<>+0(SB)/8, $value \
DATA name<>+8(SB)/8, $value \
DATA name<>+16(SB)/8, $value \
DATA name<>+24(SB)/8, $value \
GLOBL name<>(SB), RODATA|NOPTR, $32

FOUR(half, 0.5)
FOUR(sin60, 0.86602540378443864676)
FOUR(cos72, 0.30901699437494742410)
FOUR(cos144, -0.80901699437494742410)
FOUR(sin72, 0.95105651629515357212)
FOUR(sin144, 0.58778525229247312917)
