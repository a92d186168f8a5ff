/** @file text.c
 * Decoder `text`: one electronic code somewhere in a line of text.
 *
 * Link:      any line settings; whatever the reader is set to.
 * Framing:   a line ends at CR, LF, NUL or ETX (so CR LF ends it once, with an empty line after);
 *            STX begins a line, and ends one that had lost its end.
 *              [STX] anything  CODE  anything  CR | LF | CR LF | NUL | ETX
 * Code:      by default a run of exactly 15 digits, or 3 and 12 digits with one of space - . _
 *            between, with no digit beside it. Time stamps, weights and letters may stand around.
 *            `pattern = ERE` replaces that: its one group captures what lm_decode() is to take.
 * Integrity: none in the line. Digits that fit in no chip, or a telegram with a wrong check, are a
 *            reading in doubt: somebody went by. All zeros are what some readers send for nothing
 *            read and are refused, and so is a line with two different codes: which of the two
 *            passed the antenna cannot be known.
 * Oddities:  other control bytes count as a blank, never as nothing: leaving one out would join
 *            the digits on its two sides into a number that nobody sent. A reader left in
 *            hexadecimal mode can send 15 decimal digits in a row; words of 16, 28 or 32
 *            hexadecimal digits are therefore not searched.
 * Fixtures:  fixtures/serial/text-*.txt, all synthetic.
 */
#include <regex.h>
#include <stdlib.h>
#include <string.h>

#include "lugmark/decode.h"
#include "lugmark/text.h"
#include "list.h"

/** Longest line, bytes. Readers send some 20 to 80; the rest is room for long prefixes. */
#define TEXT_LINE_MAX 512u
/** Longest `pattern`, bytes: a configuration line is shorter than this. */
#define TEXT_PATTERN_MAX 256u
#define COUNTRY_DIGITS 3u
#define NATIONAL_DIGITS 12u
#define CODE_DIGITS (COUNTRY_DIGITS + NATIONAL_DIGITS)

enum { STX = 0x02, ETX = 0x03, DEL = 0x7f };

struct text_state {
    char line[TEXT_LINE_MAX + 1]; /**< the line so far, NUL-terminated only when it is judged */
    size_t len;
    bool skipping; /**< the line was too long: drop bytes up to its end */
    bool has_pattern;
    regex_t pattern;
};

/** What a line turned out to hold. */
struct verdict {
    struct lm_eid eid;
    unsigned codes;                  /**< 0, 1, or 2 for "more than one, and different" */
    enum lm_reject blame;            /**< why there are none */
    char doubted[LM_VISUAL_MAX + 1]; /**< the first that could not be right, "" for none */
};

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool is_hex(char c)
{
    return is_digit(c) || (c >= 'a' && c <= 'f') || (c >= 'A' && c <= 'F');
}

static bool is_alnum(char c)
{
    return is_digit(c) || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static bool all_zero(const char *text, size_t len)
{
    while (len > 0 && text[len - 1] == '0')
        len--;
    return len == 0;
}

static void take_code(
    struct verdict *v, enum lm_err err, struct lm_eid eid, const char *text, size_t len)
{
    if (err == LM_ERANGE || err == LM_ECHECK) {
        v->blame = err == LM_ERANGE ? LM_REJECT_RANGE : LM_REJECT_CHECK;
        if (v->doubted[0] == '\0' && !all_zero(text, len))
            lm_text_copy(v->doubted, sizeof v->doubted, text, len);
    }
    if (err != LM_OK)
        return;
    if (v->codes == 0) {
        v->eid = eid;
        v->codes = 1;
    } else if (lm_eid_key(v->eid) != lm_eid_key(eid)) {
        v->codes = 2;
    }
}

static size_t digits_from(const char *line, size_t from)
{
    size_t n = 0;
    while (is_digit(line[from + n]))
        n++;
    return n;
}

/** Whether the 15 digits at @p from stand inside a word that is a code or telegram in hex. */
static bool inside_hex(const char *line, size_t from)
{
    size_t start = from;
    size_t end = from + CODE_DIGITS;
    size_t letters_after = 0;
    size_t digits_before = 0;
    while (start > 0 && is_alnum(line[start - 1])) {
        start--;
        digits_before += is_digit(line[start]);
        if (!is_hex(line[start]))
            return false;
    }
    for (; is_alnum(line[end]); end++) {
        letters_after++;
        if (!is_hex(line[end]))
            return false;
    }
    if (letters_after == 0 && digits_before == 0)
        return false; /* letters in front of the digits, as some readers send */
    /* 64 bits; a telegram of HDX, of FDX-B */
    enum { BLOCK = 16, HDX = 28, FDX_B = 32 };
    size_t word = end - start;
    return word == BLOCK || word == HDX || word == FDX_B;
}

/** Search a line by the default rule. @p line is NUL-terminated and holds no other NUL. */
static void search_runs(const char *line, struct verdict *v)
{
    for (size_t i = 0; line[i] != '\0';) {
        size_t n = digits_from(line, i);
        if (n == 0) {
            i++;
            continue;
        }
        char code[CODE_DIGITS];
        size_t next = i + n;
        if (n == CODE_DIGITS && !inside_hex(line, i)) {
            memcpy(code, line + i, CODE_DIGITS);
        } else if (n == COUNTRY_DIGITS && line[next] != '\0' && strchr(" -._", line[next]) &&
                   digits_from(line, next + 1) == NATIONAL_DIGITS) {
            memcpy(code, line + i, COUNTRY_DIGITS);
            memcpy(code + COUNTRY_DIGITS, line + next + 1, NATIONAL_DIGITS);
            next += 1 + NATIONAL_DIGITS;
        } else {
            i = next;
            continue;
        }
        struct lm_eid eid = {0};
        enum lm_err err = lm_decode_digits15(code, CODE_DIGITS, &eid);
        take_code(v, err, eid, code, CODE_DIGITS);
        i = next;
    }
}

/** Search a line by the configured pattern, as often as it matches. */
static void search_pattern(const regex_t *pattern, const char *line, struct verdict *v)
{
    regmatch_t match[2];
    int flags = 0;
    while (*line != '\0' && regexec(pattern, line, 2, match, flags) == 0) {
        if (match[1].rm_so >= 0) {
            struct lm_decoded decoded;
            size_t len = (size_t) (match[1].rm_eo - match[1].rm_so);
            enum lm_err err = lm_decode(line + match[1].rm_so, len, &decoded, NULL);
            take_code(v, err, err == LM_OK ? decoded.eid : (struct lm_eid){0},
                line + match[1].rm_so, len);
        }
        /* An empty match would be found again for ever. */
        line += match[0].rm_eo > 0 ? match[0].rm_eo : 1;
        flags = REG_NOTBOL;
    }
}

/** A line has ended: say what it held, and begin the next one. */
static void end_line(struct text_state *s, const struct lm_sink *sink)
{
    size_t len = s->len;
    s->len = 0;
    s->skipping = false;
    while (len > 0 && s->line[len - 1] == ' ')
        len--;
    size_t start = 0;
    while (start < len && s->line[start] == ' ')
        start++;
    if (start == len)
        return; /* an empty line is silence, nothing was thrown away */
    s->line[len] = '\0';
    struct verdict v = {.blame = LM_REJECT_NO_CODE};
    if (s->has_pattern)
        search_pattern(&s->pattern, s->line + start, &v);
    else
        search_runs(s->line + start, &v);
    if (v.codes == 1) {
        struct lm_event event = {
            .kind = LM_EVENT_READING, .t_ms = LM_TIME_NONE, .clock_ms = LM_TIME_NONE, .eid = v.eid};
        sink->reading(sink->ctx, &event);
    } else if (v.codes == 0 && v.doubted[0] != '\0') {
        struct lm_event event = {.kind = LM_EVENT_READING,
            .t_ms = LM_TIME_NONE,
            .clock_ms = LM_TIME_NONE,
            .doubt = v.blame == LM_REJECT_RANGE ? LM_DOUBT_OUT_OF_RANGE : LM_DOUBT_BAD_CHECK};
        event.cut = !lm_text_copy(event.text, sizeof event.text, v.doubted, strlen(v.doubted));
        sink->reading(sink->ctx, &event);
    } else {
        sink->reject(sink->ctx, v.codes > 1 ? LM_REJECT_TWO_CODES : v.blame, len - start);
    }
}

static void take_byte(struct text_state *s, uint8_t byte, const struct lm_sink *sink)
{
    if (byte == '\r' || byte == '\n' || byte == '\0' || byte == STX || byte == ETX) {
        end_line(s, sink);
        return;
    }
    if (s->skipping)
        return;
    if (s->len == TEXT_LINE_MAX) {
        sink->reject(sink->ctx, LM_REJECT_TOO_LONG, s->len + 1);
        s->len = 0;
        s->skipping = true;
        return;
    }
    s->line[s->len++] = byte < ' ' || byte == DEL ? ' ' : (char) byte;
}

static void text_feed(void *state, const uint8_t *data, size_t len, const struct lm_sink *sink)
{
    for (size_t i = 0; i < len; i++)
        take_byte(state, data[i], sink);
}

static void text_reset(void *state)
{
    struct text_state *s = state;
    s->len = 0;
    s->skipping = false;
}

static void text_free(void *state)
{
    struct text_state *s = state;
    if (s == NULL)
        return;
    if (s->has_pattern)
        regfree(&s->pattern);
    free(s);
}

/** Whether a pattern refers back to a group: matching those can take time without bound. */
static bool refers_back(const char *pattern)
{
    for (; *pattern != '\0'; pattern++) {
        if (*pattern != '\\')
            continue;
        pattern++;
        if (*pattern >= '1' && *pattern <= '9')
            return true;
        if (*pattern == '\0')
            break;
    }
    return false;
}

static enum lm_err compile(struct text_state *s, const char *pattern, struct lm_problem *p)
{
    static const char mend[] =
        "write an extended regular expression with one group around the code, such as "
        "ID=([0-9]{15})";
    if (strlen(pattern) > TEXT_PATTERN_MAX)
        return lm_problem_set(
            p, LM_EINPUT, mend, "pattern is longer than %u bytes", TEXT_PATTERN_MAX);
    if (refers_back(pattern))
        return lm_problem_set(p, LM_EINPUT, mend, "pattern may not refer back to a group");
    int code = regcomp(&s->pattern, pattern, REG_EXTENDED);
    if (code != 0) {
        char why[128];
        regerror(code, NULL, why, sizeof why);
        return lm_problem_set(p, LM_EINPUT, mend, "pattern '%.100s': %s", pattern, why);
    }
    s->has_pattern = true;
    if (s->pattern.re_nsub != 1)
        return lm_problem_set(p, LM_EINPUT, mend,
            "pattern '%.100s' has %zu groups in ( ), and must have exactly one", pattern,
            s->pattern.re_nsub);
    return LM_OK;
}

static void *text_new(const struct lm_setting *settings, size_t n, struct lm_problem *p)
{
    struct text_state *s = calloc(1, sizeof *s);
    if (s == NULL) {
        lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
        return NULL;
    }
    const char *pattern = lm_setting_get(settings, n, "pattern");
    if (pattern != NULL && compile(s, pattern, p) != LM_OK) {
        text_free(s);
        return NULL;
    }
    return s;
}

static const char *const text_keys[] = {"pattern", NULL};

const struct lm_decoder_ops lm_decoder_text = {
    .name = "text",
    .new_ = text_new,
    .feed = text_feed,
    .reset = text_reset,
    .free_ = text_free,
    .keys = text_keys,
};
