/** @file asking.c
 * What is said to a reader, and when.
 */
#include "asking.h"

#include <string.h>

#define POLL_DEFAULT_MS 1000
#define POLL_LEAST_MS 20
#define POLL_MOST_MS 3600000
#define REPLY_MOST_MS 60000
/** A full line is tried again after this. */
#define AGAIN_MS 100

static int hex(char c)
{
    return c >= '0' && c <= '9'   ? c - '0'
           : c >= 'A' && c <= 'F' ? c - 'A' + 10
           : c >= 'a' && c <= 'f' ? c - 'a' + 10
                                  : -1;
}

/* One character or escape. Returns how much of the text it took, 0 for a bad escape. */
static size_t take_byte(const char *text, uint8_t *out)
{
    static const char letters[] = "rnt0\\", bytes[] = "\r\n\t\0\\";
    if (text[0] != '\\') {
        *out = (uint8_t) text[0];
        return 1;
    }
    if (text[1] == 'x' && hex(text[2]) >= 0 && hex(text[3]) >= 0) {
        *out = (uint8_t) (hex(text[2]) << 4 | hex(text[3]));
        return 4;
    }
    const char *letter = text[1] != '\0' ? strchr(letters, text[1]) : NULL;
    if (letter == NULL)
        return 0;
    *out = (uint8_t) bytes[letter - letters];
    return 2;
}

static enum lm_err read_bytes(const char *key, const char *text, uint8_t out[LM_ASKING_MAX],
    size_t *len, struct lm_problem *p)
{
    *len = 0;
    if (text == NULL)
        return LM_OK;
    while (*text != '\0') {
        uint8_t byte;
        size_t took = take_byte(text, &byte);
        if (took == 0)
            return lm_problem_set(p, LM_EINPUT,
                "write \\r, \\n, \\t, \\0, \\\\ or a byte in hex as \\x02",
                "%s: '%.8s' is no escape", key, text);
        if (*len == LM_ASKING_MAX)
            return lm_problem_set(
                p, LM_EINPUT, "shorten it", "%s: more than %u bytes", key, LM_ASKING_MAX);
        out[(*len)++] = byte;
        text += took;
    }
    if (*len > 0)
        return LM_OK;
    return lm_problem_set(
        p, LM_EINPUT, "write what the reader expects, such as R\\r", "%s: it is empty", key);
}

static enum lm_err read_ms(
    const char *key, const char *text, int most, int *out, struct lm_problem *p)
{
    int ms = 0;
    const char *at = text;
    if (text == NULL)
        return LM_OK;
    for (; *at >= '0' && *at <= '9' && ms <= most; at++)
        ms = ms * 10 + (*at - '0');
    if (*at != '\0' || ms < POLL_LEAST_MS || ms > most)
        return lm_problem_set(p, LM_EINPUT, "write a whole number such as 500",
            "%s: '%.20s' is no time of %d to %d milliseconds", key, text, POLL_LEAST_MS, most);
    *out = ms;
    return LM_OK;
}

enum lm_err lm_asking_read(
    struct lm_asking *a, const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    const char *poll_ms = lm_setting_get(settings, n, "poll_ms");
    const char *reply_ms = lm_setting_get(settings, n, "reply_ms");
    *a = (struct lm_asking){.poll_ms = POLL_DEFAULT_MS};
    if (read_bytes("init", lm_setting_get(settings, n, "init"), a->init, &a->init_len, p) !=
            LM_OK ||
        read_bytes("poll", lm_setting_get(settings, n, "poll"), a->poll, &a->poll_len, p) !=
            LM_OK ||
        read_ms("poll_ms", poll_ms, POLL_MOST_MS, &a->poll_ms, p) != LM_OK ||
        read_ms("reply_ms", reply_ms, REPLY_MOST_MS, &a->reply_ms, p) != LM_OK)
        return LM_EINPUT;
    if (a->poll_len == 0 && (poll_ms != NULL || reply_ms != NULL))
        return lm_problem_set(p, LM_EINPUT, "add poll = what to ask, or take it out",
            "%s: nothing is asked of this reader", poll_ms != NULL ? "poll_ms" : "reply_ms");
    return LM_OK;
}

void lm_asking_open(struct lm_asking *a, int64_t now_ms)
{
    a->begun = a->init_len == 0;
    a->waiting = false;
    a->next_ms = now_ms;
}

void lm_asking_heard(struct lm_asking *a)
{
    if (a->waiting && a->reply_ms > 0)
        a->next_ms += a->poll_ms - a->reply_ms; /* no more a limit for the answer */
    a->waiting = false;
}

int lm_asking_wait_ms(const struct lm_asking *a, int64_t now_ms)
{
    if (a->begun && a->poll_len == 0)
        return -1;
    return a->next_ms > now_ms ? (int) (a->next_ms - now_ms) : 0;
}

const uint8_t *lm_asking_due(struct lm_asking *a, int64_t now_ms, size_t *len, bool *missed)
{
    *missed = false;
    if (lm_asking_wait_ms(a, now_ms) != 0)
        return NULL;
    if (!a->begun) {
        a->begun = true;
        a->next_ms = now_ms + a->poll_ms; /* time to come to itself */
        *len = a->init_len;
        return a->init;
    }
    *missed = a->waiting && a->reply_ms > 0;
    a->waiting = true;
    a->next_ms = now_ms + (a->reply_ms > 0 ? a->reply_ms : a->poll_ms);
    *len = a->poll_len;
    return a->poll;
}

void lm_asking_again(struct lm_asking *a, int64_t now_ms)
{
    if (!a->waiting)
        a->begun = false; /* it was `init` */
    a->waiting = false;   /* nothing was asked, so nothing is due */
    a->next_ms = now_ms + AGAIN_MS;
}
