#include "verdict_line.h"

#include "verdict_json.h"
#include <string.h>

/* What is written so far. It never runs over: `bad` is set instead, and stays set. */
struct line {
    char *out;
    size_t n;
    bool bad;
};

/* Room for so many bytes, which count as written; NULL when there is none. */
static inline char *room(struct line *l, size_t len)
{
    if (l->bad || len >= VERDICT_LINE_MAX - l->n) {
        l->bad = true;
        return NULL;
    }
    l->n += len;
    return l->out + l->n - len;
}

static inline void put(struct line *l, const char *text, size_t len)
{
    char *to = room(l, len);
    if (to != NULL) {
        memcpy(to, text, len);
    }
}

/* What stands in every line: its length is known when this is compiled. */
#define PUT(l, text) put(l, text, sizeof(text) - 1)

/* What is known to need no escape: our own words. */
static void put_word(struct line *l, const char *word)
{
    PUT(l, "\"");
    put(l, word, strlen(word));
    PUT(l, "\"");
}

/* Two digits are found here, not calculated. */
static const char pairs[] = "0001020304050607080910111213141516171819"
                            "2021222324252627282930313233343536373839"
                            "4041424344454647484950515253545556575859"
                            "6061626364656667686970717273747576777879"
                            "8081828384858687888990919293949596979899";

/* Exactly so many digits, zeros first. */
static inline void write_digits(char *to, uint64_t value, size_t n)
{
    for (; n > 1; n -= 2, value /= 100) {
        memcpy(to + n - 2, pairs + value % 100 * 2, 2);
    }
    if (n > 0) {
        to[0] = (char) ('0' + value % 10);
    }
}

static inline void put_digits(struct line *l, uint64_t value, size_t n)
{
    char *to = room(l, n);
    if (to != NULL) {
        write_digits(to, value, n);
    }
}

/* More than one digit, or less than nothing. */
static void put_long_number(struct line *l, int64_t value)
{
    uint64_t rest = value < 0 ? 0 - (uint64_t) value : (uint64_t) value;
    uint64_t left = rest;
    size_t n = 1;
    for (; left >= 10000; left /= 10000) {
        n += 4;
    }
    n += (left >= 10 ? 1u : 0u) + (left >= 100 ? 1u : 0u) + (left >= 1000 ? 1u : 0u);
    if (value < 0) {
        PUT(l, "-");
    }
    put_digits(l, rest, n);
}

static inline void put_number(struct line *l, int64_t value)
{
    if (value >= 0 && value < 10) {
        put_digits(l, (uint64_t) value, 1);
    } else {
        put_long_number(l, value);
    }
}

/* Control characters and what is no UTF-8 are left to the plain way. */
static void put_text(struct line *l, const char *text)
{
    size_t len = strlen(text), extra = 0;
    bool plain = true;
    for (size_t i = 0; i < len; i++) {
        unsigned char c = (unsigned char) text[i];
        plain = plain && c >= ' ' && c < 127;
        extra += c == '"' || c == '\\';
    }
    l->bad = l->bad || (!plain && !lm_text_clean(text, len));
    char *to = room(l, len + extra + 2);
    if (to == NULL) {
        return;
    }
    *to++ = '"';
    for (size_t i = 0; i < len; i++) {
        if (text[i] == '"' || text[i] == '\\') {
            *to++ = '\\';
        }
        *to++ = text[i];
    }
    *to = '"';
}

static void put_text_or_null(struct line *l, const char *text)
{
    if (text != NULL) {
        put_text(l, text);
    } else {
        PUT(l, "null");
    }
}

_Static_assert(LM_REASONS < 32, "reasons are bits of an unsigned");
#define ALL_REASONS ((1u << LM_REASONS) - 1u)

static void put_reasons(struct line *l, unsigned reasons)
{
    bool more = false;
    PUT(l, ",\"reasons\":[");
    for (unsigned left = reasons & ALL_REASONS; left != 0; left &= left - 1) {
        put(l, ",", more ? 1 : 0);
        put_word(l, lm_reason_name((enum lm_reason) __builtin_ctz(left)));
        more = true;
    }
    PUT(l, "]");
}

/* As lm_time_format() has it. */
static void put_time(struct line *l, int64_t t_ms)
{
    char text[LM_TIME_TEXT_SIZE];
    struct lm_date date = lm_date_of(t_ms);
    if (t_ms < 0 || date.year == 0 || date.month == 0 || date.day == 0 || date.year > 9999) {
        put_text_or_null(l, t_ms != LM_TIME_NONE ? lm_time_format(t_ms, text) : NULL);
        return;
    }
    static const char form[] = "\"0000-00-00T00:00:00.000Z\"";
    uint32_t ms = (uint32_t) ((uint64_t) t_ms % 86400000u);
    char *to = room(l, sizeof form - 1);
    if (to != NULL) {
        memcpy(to, form, sizeof form - 1);
        write_digits(to + 1, (uint64_t) date.year, 4);
        write_digits(to + 6, date.month, 2);
        write_digits(to + 9, date.day, 2);
        write_digits(to + 12, ms / 3600000u, 2);
        write_digits(to + 15, ms / 60000u % 60u, 2);
        write_digits(to + 18, ms / 1000u % 60u, 2);
        write_digits(to + 21, ms % 1000u, 3);
    }
}

/* As lm_eid_format() has it. */
static void put_eid(struct line *l, struct lm_eid eid)
{
    char text[LM_EID_TEXT_SIZE];
    if (eid.known != LM_EID_CODE && eid.known != LM_EID_FULL) {
        put_text_or_null(l, eid.known != LM_EID_NONE ? lm_eid_format(eid, text) : NULL);
        return;
    }
    PUT(l, "\"");
    put_digits(l, lm_eid_country(eid), lm_eid_country(eid) > 999 ? 4 : 3);
    put_digits(l, lm_eid_national(eid), 12);
    PUT(l, "\"");
}

static void put_event(struct line *l, const struct lm_event *ev)
{
    PUT(l, "{\"event\":\"verdict\",\"seq\":");
    put_number(l, ev->seq);
    PUT(l, ",\"t\":");
    put_time(l, ev->t_ms);
    PUT(l, ",\"lane\":");
    put_text(l, ev->lane);
    PUT(l, ",\"reader\":");
    put_text(l, ev->reader);
}

static void put_judgement(struct line *l, const struct lm_event *ev, const struct lm_verdict *v)
{
    bool sighting = ev->kind == LM_EVENT_SIGHTING;
    PUT(l, ",\"attention\":");
    put_word(l, lm_attention_name(v->attention));
    put_reasons(l, v->reasons);
    if (v->repeat) {
        PUT(l, ",\"repeat\":true,\"eid\":");
    } else {
        PUT(l, ",\"repeat\":false,\"eid\":");
    }
    put_eid(l, verdict_eid(ev, v));
    PUT(l, ",\"called\":");
    put_text_or_null(l, sighting ? ev->text : NULL);
    if (!sighting && ev->doubt != LM_DOUBT_NONE) {
        PUT(l, ",\"text\":");
        put_text(l, ev->text);
    }
}

/* Numbers that an animal wears: each once, the shortest first, as in add_number(). */
struct numbers {
    const char *all[LM_DEVICES_MAX];
    size_t n;
};

static void note_number(struct numbers *list, const char *number)
{
    size_t at = list->n;
    for (size_t i = list->n; i-- > 0;) {
        if (strcmp(list->all[i], number) == 0) {
            return;
        }
        at = strlen(number) < strlen(list->all[i]) ? i : at;
    }
    if (number[0] != '\0') {
        memmove(list->all + at + 1, list->all + at, (list->n - at) * sizeof list->all[0]);
        list->all[at] = number;
        list->n++;
    }
}

static void put_visual(struct line *l, const struct lm_roll *roll, uint32_t animal, uint32_t n)
{
    struct numbers list = {.n = 0};
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device dev = lm_roll_device(roll, animal, k);
        if (!dev.gone) {
            note_number(&list, dev.visual);
        }
    }
    PUT(l, ",\"visual\":[");
    for (size_t i = 0; i < list.n; i++) {
        put(l, ",", i > 0 ? 1 : 0);
        put_text(l, list.all[i]);
    }
    PUT(l, "]");
}

static void put_marks(struct line *l, const struct lm_roll *roll, uint32_t animal, uint32_t n)
{
    bool more = false;
    PUT(l, ",\"marks\":[");
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device dev = lm_roll_device(roll, animal, k);
        if (dev.gone || (dev.visual[0] == '\0' && dev.colour[0] == '\0')) {
            continue;
        }
        put(l, ",", more ? 1 : 0);
        more = true;
        PUT(l, "{\"visual\":");
        put_text(l, dev.visual);
        PUT(l, ",\"colour\":");
        put_text(l, dev.colour);
        PUT(l, ",\"place\":");
        put_word(l, lm_place_name((enum lm_place) dev.place));
        PUT(l, ",\"form\":");
        put_word(l, lm_device_form_name((enum lm_device_form) dev.form));
        PUT(l, "}");
    }
    PUT(l, "]");
}

static void put_animal(
    struct line *l, const struct lm_roll *roll, uint32_t animal, struct lm_eid eid)
{
    const char *colour = "", *place = "";
    if (animal == LM_NO_ANIMAL) {
        PUT(l, ",\"animal\":null,\"visual\":[],\"marks\":[],\"colour\":\"\",\"place\":\"\","
               "\"sex\":\"\",\"mob\":\"\"");
        return;
    }
    struct lm_roll_animal a = lm_roll_animal(roll, animal);
    if (a.n_devices > LM_DEVICES_MAX) {
        l->bad = true;
        return;
    }
    verdict_mark(roll, animal, eid, &colour, &place);
    PUT(l, ",\"animal\":");
    put_text(l, a.key);
    put_visual(l, roll, animal, a.n_devices);
    put_marks(l, roll, animal, a.n_devices);
    PUT(l, ",\"colour\":");
    put_text(l, colour);
    PUT(l, ",\"place\":");
    put_text(l, place);
    PUT(l, ",\"sex\":");
    put_word(l, lm_sex_name((enum lm_sex) a.sex));
    PUT(l, ",\"mob\":");
    put_text(l, a.mob);
}

static void put_tally(struct line *l, const struct lm_session *session)
{
    struct lm_summary t;
    lm_session_tally(session, &t);
    PUT(l, ",\"tally\":{\"expected\":");
    put_number(l, t.expected);
    PUT(l, ",\"present\":");
    put_number(l, t.present);
    PUT(l, ",\"not_seen\":");
    put_number(l, (int64_t) t.expected - (int64_t) t.present);
    PUT(l, ",\"identified\":");
    put_number(l, t.identified);
    PUT(l, ",\"readings\":");
    put_number(l, (int64_t) t.readings);
    PUT(l, ",\"passes\":");
    put_number(l, (int64_t) t.passes);
    PUT(l, ",\"heads\":");
    if (t.has_heads) {
        put_number(l, t.heads);
    } else {
        PUT(l, "null");
    }
    PUT(l, ",\"go\":");
    put_number(l, t.counts_attention[LM_GO]);
    PUT(l, ",\"look\":");
    put_number(l, t.counts_attention[LM_LOOK]);
    PUT(l, ",\"hold\":");
    put_number(l, t.counts_attention[LM_HOLD]);
    PUT(l, "}");
}

size_t verdict_line(const struct lm_session *session, const struct lm_event *ev,
    const struct lm_verdict *verdict, const char *should, char out[VERDICT_LINE_MAX])
{
    struct line l = {.out = out};
    if (session == NULL || (ev->kind != LM_EVENT_READING && ev->kind != LM_EVENT_SIGHTING)) {
        return 0;
    }
    put_event(&l, ev);
    put_judgement(&l, ev, verdict);
    put_animal(&l, lm_session_roll(session), verdict->animal, verdict_eid(ev, verdict));
    PUT(&l, ",\"say\":");
    put_word(&l, verdict_say(verdict));
    put_tally(&l, session);
    PUT(&l, ",\"should\":");
    put_text(&l, should);
    PUT(&l, "}\n");
    out[l.bad ? 0 : l.n] = '\0';
    return l.bad ? 0 : l.n;
}
