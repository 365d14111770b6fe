/* Reads or writes one sound file with libsndfile, for samples/file's outside
 * checks.
 *
 *   sndfile_probe read FILE         a line of facts, one line a loop and cue,
 *                                   an empty line, then raw native doubles
 *   sndfile_probe write FILE FORMAT CHANNELS RATE
 *                                   FORMAT is hexadecimal as in sndfile.h;
 *                                   raw native doubles on standard input;
 *                                   sets a loop over 100..199 and two cues
 */
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int fail(const char *what, SNDFILE *f) {
    fprintf(stderr, "sndfile_probe: %s: %s\n", what, sf_strerror(f));
    return 1;
}

static int dump(const char *path) {
    SF_INFO info;
    memset(&info, 0, sizeof info);
    SNDFILE *f = sf_open(path, SFM_READ, &info);
    if (!f) return fail(path, NULL);
    printf("format %x rate %d channels %d frames %lld\n", (unsigned)info.format, info.samplerate, info.channels, (long long)info.frames);
    SF_INSTRUMENT inst;
    if (sf_command(f, SFC_GET_INSTRUMENT, &inst, sizeof inst))
        for (int i = 0; i < inst.loop_count && i < 16; i++)
            printf("loop %u %u %u\n", inst.loops[i].start, inst.loops[i].end, inst.loops[i].count);
    SF_CUES cues;
    memset(&cues, 0, sizeof cues);
    if (sf_command(f, SFC_GET_CUE, &cues, sizeof cues))
        for (unsigned i = 0; i < cues.cue_count; i++)
            printf("cue %u %s\n", cues.cue_points[i].sample_offset, cues.cue_points[i].name);
    const char *title = sf_get_string(f, SF_STR_TITLE);
    if (title) printf("title %s\n", title);
    SF_BROADCAST_INFO bext;
    if (sf_command(f, SFC_GET_BROADCAST_INFO, &bext, sizeof bext))
        printf("bext %d %.256s\n", bext.version, bext.description);
    printf("\n");
    double *buf = malloc(sizeof(double) * 4096 * info.channels);
    sf_count_t n;
    while ((n = sf_readf_double(f, buf, 4096)) > 0) fwrite(buf, sizeof(double) * info.channels, n, stdout);
    sf_close(f);
    return 0;
}

static int write_file(const char *path, int format, int channels, int rate) {
    SF_INFO info;
    memset(&info, 0, sizeof info);
    info.format = format;
    info.channels = channels;
    info.samplerate = rate;
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    if (!f) return fail(path, NULL);
    if ((format & SF_FORMAT_TYPEMASK) != SF_FORMAT_RF64) {
        SF_INSTRUMENT inst;
        memset(&inst, 0, sizeof inst);
        inst.basenote = 60;
        inst.loop_count = 1;
        inst.loops[0].mode = SF_LOOP_FORWARD;
        inst.loops[0].start = 100;
        inst.loops[0].end = 200;
        sf_command(f, SFC_SET_INSTRUMENT, &inst, sizeof inst);
        SF_CUES cues;
        memset(&cues, 0, sizeof cues);
        cues.cue_count = 2;
        for (int i = 0; i < 2; i++) {
            cues.cue_points[i].indx = i + 1;
            cues.cue_points[i].fcc_chunk = 0x61746164; /* data */
            cues.cue_points[i].sample_offset = 40 + 60 * i;
        }
        sf_command(f, SFC_SET_CUE, &cues, sizeof cues);
        sf_set_string(f, SF_STR_TITLE, "sled");
    }
    int subtype = format & SF_FORMAT_SUBMASK;
    int is_float = subtype == SF_FORMAT_FLOAT || subtype == SF_FORMAT_DOUBLE;
    double *in = malloc(sizeof(double) * channels);
    int *ints = malloc(sizeof(int) * channels);
    while (fread(in, sizeof(double), channels, stdin) == (size_t)channels) {
        /* Whole integers, shifted to the top: the library's own scaling of
         * doubles is by 2^n - 1 and not exact. */
        for (int c = 0; c < channels; c++) ints[c] = (int)(in[c] * 2147483648.0);
        sf_count_t n = is_float ? sf_writef_double(f, in, 1) : sf_writef_int(f, ints, 1);
        if (n != 1) return fail("write", f);
    }
    return sf_close(f) ? fail("close", NULL) : 0;
}

int main(int argc, char **argv) {
    if (argc == 3 && !strcmp(argv[1], "read")) return dump(argv[2]);
    if (argc == 6 && !strcmp(argv[1], "write"))
        return write_file(argv[2], (int)strtol(argv[3], NULL, 16), atoi(argv[4]), atoi(argv[5]));
    fprintf(stderr, "sndfile_probe: read FILE | write FILE FORMAT CHANNELS RATE\n");
    return 2;
}
