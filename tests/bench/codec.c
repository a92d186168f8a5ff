/*
 * FDX-B telegrams out of a bit stream, against a copy of the same bytes and a byte-wise table CRC
 * over them. They take turns; prints medians in nanoseconds a telegram:
 *   clean decode, clean CRC, clean memcpy, noisy decode, noisy CRC, noisy memcpy, found, found
 * In the noisy stream every second telegram's worth of bits is noise, so it begins at any bit.
 * usage: codec [ROUNDS]
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "lugmark/telegram.h"

#define N 200000u /* telegrams */
#define BYTES (N * LM_FDXB_BYTES)
#define ROUNDS_MAX 101

static uint64_t seed = 88172645463325252u;
static uint16_t table[256];

static uint64_t dice(void)
{
    seed ^= seed << 13;
    seed ^= seed >> 7;
    seed ^= seed << 17;
    return seed;
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double) t.tv_sec * 1e9 + (double) t.tv_nsec;
}

static void make_table(void)
{
    for (unsigned i = 0; i < 256; i++) {
        unsigned crc = i;
        for (int b = 0; b < 8; b++)
            crc = crc & 1 ? crc >> 1 ^ 0x8408 : crc >> 1;
        table[i] = (uint16_t) crc;
    }
}

static uint16_t crc_of(const uint8_t *data, size_t len)
{
    uint16_t crc = 0;
    for (size_t i = 0; i < len; i++)
        crc = (uint16_t) (crc >> 8 ^ table[(crc ^ data[i]) & 0xFF]);
    return crc;
}

static void put_bits(uint8_t *out, size_t *at, const uint8_t *in, unsigned n)
{
    for (unsigned i = 0; i < n; i++, ++*at)
        if (in[i / 8] >> (7 - i % 8) & 1)
            out[*at / 8] |= (uint8_t) (0x80u >> *at % 8);
}

static void fill(uint8_t *out, int noisy)
{
    uint8_t t[LM_FDXB_BYTES];
    size_t at = 0;
    memset(out, 0, BYTES);
    while (at + 256 <= (size_t) BYTES * 8) {
        lm_fdxb_encode(UINT64_C(0x8000) << 48 | UINT64_C(999) << 38 | (dice() & LM_NATIONAL_MAX),
            (uint32_t) dice() & 0xFFFFFF, t);
        put_bits(out, &at, t, 128);
        if (!noisy)
            continue;
        for (int i = 0; i < 2; i++) {
            uint64_t noise = dice();
            memcpy(t + 8 * i, &noise, 8);
        }
        put_bits(out, &at, t, 96 + (unsigned) (dice() % 33));
    }
}

static uint64_t sum;

static void count(const struct lm_telegram *t, void *ctx)
{
    ++*(unsigned *) ctx;
    sum += t->eid.bits;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *) a, y = *(const double *) b;
    return (x > y) - (x < y);
}

static double median(double *took, int n)
{
    qsort(took, (size_t) n, sizeof *took, by_size);
    return took[n / 2] / N;
}

int main(int argc, char **argv)
{
    static uint8_t data[2][BYTES], copy[BYTES];
    static double took[2][3][ROUNDS_MAX];
    int rounds = argc > 1 ? atoi(argv[1]) : 11;
    unsigned found[2] = {0};
    if (rounds < 1 || rounds > ROUNDS_MAX)
        return 2;
    make_table();
    fill(data[0], 0);
    fill(data[1], 1);
    for (int r = 0; r < rounds; r++)
        for (int k = 0; k < 2; k++) {
            struct lm_bitstream s = {.codings = 1u << LM_CODING_FDXB};
            found[k] = 0;
            double begin = now();
            lm_bitstream_feed(&s, data[k], BYTES, count, &found[k]);
            took[k][0][r] = now() - begin;
            begin = now();
            sum += crc_of(data[k], BYTES);
            took[k][1][r] = now() - begin;
            begin = now();
            memcpy(copy, data[k], BYTES);
            took[k][2][r] = now() - begin;
            sum += copy[sum % BYTES];
        }
    for (int k = 0; k < 2; k++)
        for (int i = 0; i < 3; i++)
            printf("%.3f ", median(took[k][i], rounds));
    printf("%u %u\n", found[0], found[1]);
    return sum == 1; /* so that nothing is left out */
}
