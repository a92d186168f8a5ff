/* What came of a try, for people. */
#include "try.h"

#include <string.h>

#include "problem.h"

#define DUMP_BYTES 128u
#define PART_BYTES 16u

static void show_hex(const uint8_t *bytes, size_t len, size_t most)
{
    for (size_t i = 0; i < len && i < most; i++)
        printf("%s%02X", i > 0 ? " " : "", bytes[i]);
    if (len > most)
        printf(" ...");
}

/* Bytes as they came: hex on the left, text on the right. */
static void dump(const struct lm_try *t)
{
    printf("\nthe first bytes:\n");
    for (size_t at = 0; at < t->len && at < DUMP_BYTES; at += 16) {
        printf("  %4zu  ", at);
        for (size_t i = at; i < at + 16; i++)
            if (i < t->len)
                printf("%02X ", t->bytes[i]);
            else
                printf("   ");
        putchar(' ');
        for (size_t i = at; i < at + 16 && i < t->len; i++)
            putchar(t->bytes[i] >= ' ' && t->bytes[i] < 0x7F ? t->bytes[i] : '.');
        putchar('\n');
    }
}

static void show_example(const struct lm_try *t, const struct lm_try_decoder *d,
    const struct lm_try_example *example, const char *what)
{
    struct lm_try_part part;
    printf("\n%s, %s byte %zu:\n", d->name, what, example->at);
    for (size_t i = 0; lm_try_part(t, &d->spec, example, i, &part); i++) {
        if (part.len == 0 && part.note[0] == '\0')
            continue;
        printf("  %-10s ", part.name);
        show_hex(t->bytes + part.at, part.len, PART_BYTES);
        if (part.value[0] != '\0')
            printf("  = %s", part.value);
        if (part.note[0] != '\0')
            printf("  <- %s", part.note);
        putchar('\n');
    }
}

static void show_decoder(const struct lm_try_decoder *d)
{
    printf("%s", d->name);
    if (d->used_by[0] != '\0')
        printf(" (reader %s)", d->used_by);
    printf(": %zu reading%s\n", d->readings, d->readings == 1 ? "" : "s");
    for (size_t i = 0; i < d->n_codes; i++)
        printf("    %s  %zu time%s\n", d->codes[i].text, d->codes[i].times,
            d->codes[i].times == 1 ? "" : "s");
    if (d->more_codes > 0)
        printf("    and %zu readings of other codes\n", d->more_codes);
    for (size_t i = 0; i < LM_REJECTS; i++)
        if (d->rejects[i] > 0)
            printf("    thrown away %zu: %s (%zu bytes)\n", d->rejects[i],
                lm_reject_name((enum lm_reject) i), d->reject_bytes[i]);
    if (d->is_frame && !lm_frame_is_guarded(&d->spec))
        puts("    this frame has no check: nothing guards it, and noise can pass for a code");
}

static void show_best(const struct lm_try *t, const struct lm_try_decoder *best)
{
    struct lm_try_example found[LM_TRY_EXAMPLES];
    printf("\nbest: %s\n", best->name);
    size_t n = best->is_frame ? lm_try_examples(t, &best->spec, found) : 0;
    for (size_t i = 0; i < n; i++)
        show_example(t, best, &found[i], "frame at");
    if (n == 0)
        dump(t);
}

/* Nothing was found: how near each description came. */
static void show_nearest(const struct lm_try *t)
{
    puts("\nno decoder found a code");
    for (size_t i = 0; i < t->n_decoders; i++) {
        const struct lm_try_decoder *d = &t->decoders[i];
        struct lm_try_example near;
        if (!d->is_frame)
            continue;
        if (lm_try_nearest(t, &d->spec, &near))
            show_example(t, d, &near, "what comes nearest, at");
        else
            printf("\n%s: its start is nowhere in these bytes\n", d->name);
    }
    if (t->len > 0)
        dump(t);
}

void lm_try_show(const struct lm_try *t, const struct lm_try_decoder *best)
{
    char source[LM_PROBLEM_FILE_MAX];
    printf("%zu bytes of %s", t->len, lm_clean(source, sizeof source, t->source));
    if (t->config[0] != '\0')
        printf(", decoders of %s and the built-in ones", t->config);
    puts(t->config[0] != '\0' ? "\n" : "; no configuration, the built-in decoders only\n");
    for (size_t i = 0; i < t->n_decoders; i++)
        show_decoder(&t->decoders[i]);
    if (best != NULL)
        show_best(t, best);
    else
        show_nearest(t);
}
