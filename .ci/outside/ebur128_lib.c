/* The levels of sound files by libebur128, for comparison.
 *
 *   ebur128_lib levels < LIST     one line a file: PATH TAB RATE TAB CHANNELS,
 *                                 PATH holding interleaved doubles
 *   ebur128_lib speed FILE        FILE holds 48 kHz stereo 16 bit; prints how
 *                                 many times faster than real time
 *                                 I + LRA + true peak are
 *
 * Columns of "levels": path, I, LRA as the library does it (a step of 1 s), LRA
 * at a step of 100 ms (ten states, each started 100 ms later), max M and max S
 * at a step of 10 ms, sample peak, true peak. "-" where a file is too short.
 */
#include <ebur128.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

static void die(const char *what) {
  fprintf(stderr, "ebur128_lib: %s\n", what);
  exit(1);
}

static void print(int there, double v) {
  if (there) printf("\t%.6f", v); else printf("\t-");
}

static void levels(const char *path, unsigned long rate, unsigned ch) {
  FILE *f = fopen(path, "rb");
  if (!f) die(path);
  fseek(f, 0, SEEK_END);
  size_t n = (size_t)ftell(f) / sizeof(double) / ch;
  rewind(f);
  double *x = malloc((n * ch + 16 * ch) * sizeof *x);
  if (!x || fread(x, sizeof *x * ch, n, f) != n) die("cannot read");
  fclose(f);
  memset(x + n * ch, 0, 16 * ch * sizeof *x);

  ebur128_state *st = ebur128_init(ch, rate, EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_S | EBUR128_MODE_M | EBUR128_MODE_SAMPLE_PEAK | EBUR128_MODE_TRUE_PEAK);
  ebur128_state *late[10];
  if (!st) die("init");
  double v, max_m = -HUGE_VAL, max_s = -HUGE_VAL, i = -HUGE_VAL, lra = 0, lra10 = 0;
  size_t at = 0;
  for (size_t k = 1; at < n; k++) {
    size_t to = (k * rate + 50) / 100;
    int whole = to <= n;
    if (!whole) to = n;
    ebur128_add_frames_double(st, x + at * ch, to - at);
    at = to;
    if (whole && k >= 40 && !ebur128_loudness_momentary(st, &v) && v > max_m) max_m = v;
    if (whole && k >= 300 && !ebur128_loudness_shortterm(st, &v) && v > max_s) max_s = v;
  }
  ebur128_loudness_global(st, &i);
  ebur128_loudness_range(st, &lra);
  for (int k = 0; k < 10; k++) {
    size_t skip = k * ((rate + 5) / 10);
    late[k] = ebur128_init(ch, rate, EBUR128_MODE_LRA);
    if (skip < n) ebur128_add_frames_double(late[k], x + skip * ch, n - skip);
  }
  ebur128_loudness_range_multiple(late, 10, &lra10);
  for (int k = 0; k < 10; k++) ebur128_destroy(&late[k]);

  /* The library's interpolator is six frames late: silence pushes the rest
   * out, as a file that ends is followed by silence. */
  ebur128_add_frames_double(st, x + n * ch, 16);
  double sp = 0, tp = 0;
  for (unsigned c = 0; c < ch; c++) {
    if (!ebur128_sample_peak(st, c, &v) && v > sp) sp = v;
    if (!ebur128_true_peak(st, c, &v) && v > tp) tp = v;
  }
  ebur128_destroy(&st);
  free(x);
  int is_s = n >= 3 * rate;
  printf("%s", path);
  print(i > -HUGE_VAL, i);
  print(is_s, lra);
  print(is_s, lra10);
  print(max_m > -HUGE_VAL, max_m);
  print(is_s && max_s > -HUGE_VAL, max_s);
  print(sp > 0, 20 * log10(sp));
  print(tp > 0, 20 * log10(tp));
  printf("\n");
}

static double now(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return t.tv_sec + 1e-9 * t.tv_nsec;
}

static void speed(const char *path) {
  enum { block = 4800 };
  static int16_t in[2 * block];
  static double x[2 * block];
  FILE *f = fopen(path, "rb");
  if (!f) die(path);
  ebur128_state *st = ebur128_init(2, 48000, EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_TRUE_PEAK);
  double spent = 0, t, v, frames = 0;
  size_t n;
  while ((n = fread(in, 4, block, f)) > 0) {
    for (size_t k = 0; k < 2 * n; k++) x[k] = in[k] / 32768.0;
    t = now(); /* the library alone, without reading and converting */
    ebur128_add_frames_double(st, x, n);
    spent += now() - t;
    frames += n;
  }
  t = now();
  ebur128_loudness_global(st, &v);
  ebur128_loudness_range(st, &v);
  ebur128_true_peak(st, 0, &v);
  ebur128_true_peak(st, 1, &v);
  spent += now() - t;
  printf("%.2f\n", frames / 48000 / spent);
}

int main(int argc, char **argv) {
  char line[4096], *path, *rate, *ch;
  if (argc == 3 && !strcmp(argv[1], "speed")) {
    speed(argv[2]);
    return 0;
  }
  if (argc != 2 || strcmp(argv[1], "levels")) die("usage: levels < LIST, or speed FILE");
  while (fgets(line, sizeof line, stdin)) {
    path = strtok(line, "\t");
    rate = strtok(NULL, "\t");
    ch = strtok(NULL, "\t\n");
    if (!ch) die("bad line");
    levels(path, strtoul(rate, NULL, 10), (unsigned)strtoul(ch, NULL, 10));
  }
  return 0;
}
