/** Ten minutes of noise at full speed into each decoder: no animal comes of it, it is counted, and
 * a true code afterwards is read. LUGMARK_NOISE_S: seconds of the reader's time (600; 20 quick). */
#include "sink_log.h"
#include "drivers/list.h"

#include <stdlib.h>

#define SPEED 11520 /* bytes a second at 115200 baud */

struct heard {
    unsigned long good, doubtful, rejects;
    struct lm_event last;
};

static void on_reading(void *ctx, const struct lm_event *ev)
{
    struct heard *h = ctx;
    h->good += ev->doubt == LM_DOUBT_NONE;
    h->doubtful += ev->doubt != LM_DOUBT_NONE;
    h->last = *ev;
}

static void on_reject(void *ctx, enum lm_reject reject, size_t bytes)
{
    struct heard *h = ctx;
    (void) reject;
    (void) bytes;
    h->rejects++;
}

static const struct lm_setting framed[] = {{"start", "02"},
    {"fields", "skip:1 literal:00 length:1 block:8:little crc16code:2:little"}, {"check", "xor"},
    {"check_over", "start"}, {"end", "03"}};

/* Of each decoder one of its codes, sent twice after the noise: what the noise had begun may
 * swallow the first. */
static const struct {
    const char *legend;
    const struct lm_decoder_ops *ops;
    const struct lm_setting *settings;
    size_t n;
    const char *bytes;
    size_t len;
    const char *want;
} rows[] = {
    {"text", &lm_decoder_text, NULL, 0, "\r\n999000000012345\r\n", 19, "999000000012345"},
    {"telegram", &lm_decoder_telegram, NULL, 0,
        "\x00\x32\xD6\xDC\x04\x02\x07\x9F\x80\x40\x62\x53\xB8\x04\x02\x01", 16, "999000000112233"},
    {"frame", &lm_decoder_frame, framed, 5,
        "\x02\x01\x00\x0A\xBE\x78\xA2\x21\xDA\x1E\x00\x80\xD6\x0F\xD1\x03", 16, "123112233445566"},
};

static void feed_noise(
    void *state, const struct lm_decoder_ops *ops, size_t bytes, const struct lm_sink *sink)
{
    uint8_t piece[61]; /* as a port gives them: never whole lines */
    uint64_t seed = 417;
    for (size_t done = 0; done < bytes; done += sizeof piece) {
        for (size_t i = 0; i < sizeof piece; i++)
            piece[i] = sink_log_random(&seed);
        ops->feed(state, piece, sizeof piece, sink);
    }
}

static void test_noise(void **unused)
{
    const char *said = getenv("LUGMARK_NOISE_S");
    size_t bytes = (said != NULL ? strtoul(said, NULL, 10) : 20) * SPEED;
    (void) unused;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct heard h = {0};
        struct lm_sink sink = {.reading = on_reading, .reject = on_reject, .ctx = &h};
        struct lm_problem p = {0};
        char text[LM_EID_TEXT_SIZE];
        void *state = rows[i].ops->new_(rows[i].settings, rows[i].n, &p);
        if (state == NULL)
            fail_msg("%s: %s", rows[i].legend, p.what);
        feed_noise(state, rows[i].ops, bytes, &sink);
        print_message("# %-8s %zu bytes of noise: %lu codes taken for good, %lu doubtful, %lu "
                      "rejects counted\n",
            rows[i].legend, bytes, h.good, h.doubtful, h.rejects);
        assert_int_equal(h.good, 0);
        assert_true(h.doubtful <= bytes / 100000 + 1);
        /* A telegram begins with what noise hardly ever says: the rest of it is no reject. */
        assert_true(h.rejects > 0 || rows[i].ops == &lm_decoder_telegram);
        for (int k = 0; k < 2; k++)
            rows[i].ops->feed(state, (const uint8_t *) rows[i].bytes, rows[i].len, &sink);
        rows[i].ops->free_(state);
        assert_true(h.good >= 1);
        assert_string_equal(lm_eid_format(h.last.eid, text), rows[i].want);
    }
}

static void test_every_decoder_has_a_row(void **unused)
{
    (void) unused;
    for (const char *const *name = lm_decoder_names(); *name != NULL; name++) {
        size_t i = 0;
        while (i < sizeof rows / sizeof rows[0] && strcmp(rows[i].ops->name, *name) != 0)
            i++;
        if (i == sizeof rows / sizeof rows[0])
            fail_msg("decoder %s has no row here", *name);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_noise), cmocka_unit_test(test_every_decoder_has_a_row)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
