/* Reference for the benchmark: responses from sweep recordings with FFTW (www.fftw.org), double precision, real transforms, measured plans.
 *
 *   deconvolve DIR RATE REPEATS
 *
 * reads DIR/sweep.wav and DIR/rec00.wav ... rec32.wav (mono, 32-bit floats, 44-byte headers), divides the sweep out as documented at dsp.Inverse and writes the first
 * second of each response to DIR/c/NN.wav. Two threads share the recordings. Each repeat goes from files to files and prints wall and processor seconds;
 * plans and the inverse are made before, what the repeat before has written is removed. Wisdom is kept in DIR/wisdom, so that the long measuring happens once; it
 * ends after 300 s per plan, more than it takes on an idle machine (30 s for 960000 samples).
 */
#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <time.h>

enum { COUNT = 33, THREADS = 2, HEADER = 44 };

static char dir[512];
static double rate, low = 50, high;
static int n;
static fftw_complex *inverse;
static fftw_plan forward, backward;

/* read_wav reads into x, or into new memory where x is NULL. */
static float *read_wav(const char *path, float *x, int *samples) {
	FILE *f = fopen(path, "rb");
	if (!f) { perror(path); exit(1); }
	fseek(f, 0, SEEK_END);
	long size = ftell(f) - HEADER;
	fseek(f, HEADER, SEEK_SET);
	if (!x) x = malloc(size);
	if (fread(x, 1, size, f) != (size_t)size) { perror(path); exit(1); }
	fclose(f);
	*samples = size / 4;
	return x;
}

/* write_wav writes by way of y. */
static void write_wav(const char *path, const double *x, float *y, int samples) {
	unsigned bytes = 4 * samples;
	unsigned char h[HEADER] = "RIFF____WAVEfmt ";
	unsigned values[] = {36 + bytes, 16, 3 | 1 << 16, (unsigned)rate, 4 * (unsigned)rate, 4 | 32 << 16};
	memcpy(h + 4, &values[0], 4);
	memcpy(h + 16, &values[1], 20);
	memcpy(h + 36, "data", 4);
	memcpy(h + 40, &bytes, 4);
	for (int i = 0; i < samples; i++) y[i] = x[i];
	FILE *f = fopen(path, "wb");
	if (!f || fwrite(h, 1, HEADER, f) != HEADER || fwrite(y, 1, bytes, f) != bytes) { perror(path); exit(1); }
	fclose(f);
}

static double edge(double octaves) { return 0.5 - 0.5 * cos(M_PI * fmin(1, fmax(0, 6 * octaves))); }

static void *work(void *first) {
	double *x = fftw_alloc_real(n);
	fftw_complex *X = fftw_alloc_complex(n / 2 + 1);
	float *in = malloc(n * sizeof *in), *out = malloc(n * sizeof *out);
	for (int i = *(int *)first; i < COUNT; i += THREADS) {
		char path[600];
		int samples;
		snprintf(path, sizeof path, "%s/rec%02d.wav", dir, i);
		read_wav(path, in, &samples);
		for (int j = 0; j < samples; j++) x[j] = in[j];
		memset(x + samples, 0, (n - samples) * sizeof *x);
		fftw_execute_dft_r2c(forward, x, X);
		for (int k = 0; k <= n / 2; k++) X[k] *= inverse[k];
		fftw_execute_dft_c2r(backward, X, x);
		snprintf(path, sizeof path, "%s/c/%02d.wav", dir, i);
		write_wav(path, x, out, (int)rate);
	}
	free(in);
	free(out);
	fftw_free(x);
	fftw_free(X);
	return NULL;
}

static double cpu(void) {
	struct rusage r;
	getrusage(RUSAGE_SELF, &r);
	return r.ru_utime.tv_sec + r.ru_stime.tv_sec + 1e-6 * (r.ru_utime.tv_usec + r.ru_stime.tv_usec);
}

static double wall(void) {
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec + 1e-9 * t.tv_nsec;
}

int main(int argc, char **argv) {
	if (argc != 4) return 2;
	snprintf(dir, sizeof dir, "%s", argv[1]);
	rate = atof(argv[2]);
	high = 20000;
	char path[600];
	snprintf(path, sizeof path, "%s/rec00.wav", dir);
	int samples;
	free(read_wav(path, NULL, &n)); /* the recordings' length, a product of small primes */
	snprintf(path, sizeof path, "%s/wisdom", dir);
	fftw_import_wisdom_from_filename(path);
	fftw_set_timelimit(300);
	double *x = fftw_alloc_real(n);
	inverse = fftw_alloc_complex(n / 2 + 1);
	forward = fftw_plan_dft_r2c_1d(n, x, inverse, FFTW_MEASURE | FFTW_DESTROY_INPUT);
	backward = fftw_plan_dft_c2r_1d(n, inverse, x, FFTW_MEASURE | FFTW_DESTROY_INPUT);
	fftw_export_wisdom_to_filename(path);
	snprintf(path, sizeof path, "%s/sweep.wav", dir);
	float *in = read_wav(path, NULL, &samples);
	memset(x, 0, n * sizeof *x);
	for (int j = 0; j < samples; j++) x[j] = in[j];
	fftw_execute_dft_r2c(forward, x, inverse);
	double mean = 0;
	int lines = 0;
	for (int pass = 0; pass < 2; pass++)
		for (int k = 0; k <= n / 2; k++) {
			double f = k * rate / n, w = k ? edge(log2(f / low)) * edge(log2(high / f)) : 0;
			double power = creal(inverse[k]) * creal(inverse[k]) + cimag(inverse[k]) * cimag(inverse[k]);
			if (pass == 0) {
				if (w == 1) mean += power, lines++;
			} else
				inverse[k] = w / fmax(power, 1e-6 * mean / lines) * conj(inverse[k]) / n;
		}
	snprintf(path, sizeof path, "%s/c", dir);
	mkdir(path, 0777);
	for (int r = 0; r < atoi(argv[3]); r++) {
		for (int i = 0; i < COUNT; i++) {
			snprintf(path, sizeof path, "%s/c/%02d.wav", dir, i);
			remove(path);
		}
		double w = wall(), c = cpu();
		pthread_t threads[THREADS];
		int first[THREADS];
		for (int t = 0; t < THREADS; t++) first[t] = t, pthread_create(&threads[t], NULL, work, &first[t]);
		for (int t = 0; t < THREADS; t++) pthread_join(threads[t], NULL);
		printf("%.6f %.6f\n", wall() - w, cpu() - c);
	}
	return 0;
}
