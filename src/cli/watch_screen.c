/* Drawing what is watched on a terminal.
 *
 * Attention is never told by colour alone: each has its word in big letters, its own border
 * character and its own shape of bar beside the word. */
#include "watch_screen.h"

#include <inttypes.h>
#include <stdarg.h>
#include <string.h>

#include "glyph.h"
#include "report/tongue.h"
#include "verdict.h"

struct canvas {
    FILE *out;
    const struct lm_terminal *t;
    size_t row; /* lines written */
};

struct style {
    enum lm_attention attention;
    const char *colour;
    const char *border; /* one ASCII character, repeated */
    const char *border_utf8;
};

static const struct style styles[] = {
    [LM_GO] = {LM_GO, "\033[1;32m", "-", "─"},
    [LM_LOOK] = {LM_LOOK, "\033[1;33m", "?", "▒"},
    [LM_HOLD] = {LM_HOLD, "\033[1;31m", "#", "█"},
};

/* Blanks that fill a column of so many characters. */
static int gap(const char *text, int columns)
{
    int width = lm_tongue_width(text);
    return width < columns ? columns - width : 0;
}

static const struct style *style_of(enum lm_attention attention)
{
    return &styles[attention <= LM_HOLD ? attention : LM_HOLD];
}

static bool room(const struct canvas *c, size_t rows)
{
    return c->row + rows <= c->t->rows;
}

static void colour(const struct canvas *c, const char *sequence)
{
    if (c->t->colour)
        fputs(sequence, c->out);
}

/* Begin and end one line; nothing of the line before stays behind it. */
static bool begin_line(struct canvas *c)
{
    if (!room(c, 1))
        return false;
    fprintf(c->out, "\033[%zu;1H", c->row + 1);
    c->row++;
    return true;
}

static void end_line(const struct canvas *c)
{
    fputs("\033[0m\033[K", c->out);
}

/* Write text, at most `columns` characters, never half of one. */
static void put_cut(const struct canvas *c, const char *text, size_t columns)
{
    size_t used = 0;
    for (const char *at = text; *at != '\0'; at++) {
        bool begins = ((unsigned char) *at & 0xC0u) != 0x80u;
        if (begins && used++ == columns)
            break;
        if (c->t->utf8)
            fputc(*at, c->out);
        else if (begins)
            fputc((unsigned char) *at < 0x80 ? *at : '?', c->out);
    }
}

static void line(struct canvas *c, const char *sequence, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
static void line(struct canvas *c, const char *sequence, const char *fmt, ...)
{
    char text[512];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    if (!begin_line(c))
        return;
    colour(c, sequence);
    put_cut(c, text, c->t->columns);
    end_line(c);
}

static void blank_to(struct canvas *c, size_t row)
{
    while (c->row < row && begin_line(c))
        end_line(c);
}

static void rule(struct canvas *c, const struct style *s)
{
    if (!begin_line(c))
        return;
    colour(c, s->colour);
    for (size_t i = 0; i < c->t->columns; i++)
        fputs(c->t->utf8 ? s->border_utf8 : s->border, c->out);
    end_line(c);
}

static void glyph_row(
    const struct canvas *c, const char *text, size_t len, size_t row, size_t across)
{
    const char *dot = c->t->utf8 ? "█" : "#";
    for (size_t i = 0; i < len; i++) {
        uint8_t bits = lm_glyph(text[i])[row];
        size_t dots = i + 1 < len ? LM_GLYPH_COLUMNS + 1 : LM_GLYPH_COLUMNS;
        for (size_t d = 0; d < dots; d++) {
            bool on =
                d < LM_GLYPH_COLUMNS && ((unsigned) bits >> (LM_GLYPH_COLUMNS - 1 - d) & 1u) != 0;
            for (size_t a = 0; a < across; a++)
                fputs(on ? dot : " ", c->out);
        }
    }
}

/* A text in big letters, in the middle; small when it does not fit so. Its letters are as big as
 * those of a text of `like` letters: two lines that belong together look alike. */
static void big(struct canvas *c, const char *sequence, const char *text, size_t like, size_t rows)
{
    size_t len = strlen(text), across, down;
    lm_glyph_scale(len > like ? len : like, c->t->columns, rows, &across, &down);
    if (across == 0) {
        line(c, sequence, "  %s", text);
        return;
    }
    size_t left = (c->t->columns - lm_glyph_width(len, across)) / 2;
    for (size_t row = 0; row < LM_GLYPH_ROWS; row++)
        for (size_t d = 0; d < down && begin_line(c); d++) {
            colour(c, sequence);
            fprintf(c->out, "%*s", (int) left, "");
            glyph_row(c, text, len, row, across);
            end_line(c);
        }
}

/* --- the parts of the screen --- */

static void header(struct canvas *c, const struct lm_watch *w)
{
    if (w->session_open)
        line(c, "\033[7m", " %s%*s lugmark watch ", w->session, gap(w->session, 40), "");
    else
        line(c, "\033[7m", " lugmark watch ");
}

static void alarm_state(struct canvas *c, const char *first, const char *second, const char *advice)
{
    size_t rows = c->t->rows > 19 ? (c->t->rows - 9) / 2 : c->t->rows > 15 ? 5 : 1;
    rule(c, &styles[LM_HOLD]);
    big(c, "\033[1m", first, strlen(second), rows);
    blank_to(c, c->row + 1);
    big(c, "\033[1m", second, strlen(first), rows);
    rule(c, &styles[LM_HOLD]);
    line(c, "", "  %s", advice);
}

static void about(char *out, size_t size, const struct lm_watch_pass *p)
{
    const char *const parts[] = {p->ear, p->sex, p->mob[0] != '\0' ? _("mob") : "", p->mob,
        p->animal, p->should[0] != '\0' ? _("should wear") : "", p->should};
    size_t len = 0;
    out[0] = '\0';
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        if (parts[i][0] == '\0' || len + 1 >= size)
            continue;
        const char *gap = len == 0 ? "" : i == 3 || i == 6 ? " " : "   ";
        int n = snprintf(out + len, size - len, "%s%s", gap, parts[i]);
        len += n > 0 ? (size_t) n : 0;
    }
}

static void last_animal(struct canvas *c, const struct lm_watch_pass *p, size_t rows)
{
    const struct style *s = style_of(p->attention);
    const char *number = p->number[0] != '\0' ? p->number : p->called[0] != '\0' ? p->called : "?";
    bool small = rows < 14; /* then the number alone is big, and there is one rule */
    size_t word_rows = small ? 1 : rows >= 27 ? rows / 3 : LM_GLYPH_ROWS;
    size_t others = word_rows + (small ? 3 : 4);
    char is[512];
    about(is, sizeof is, p);
    rule(c, s);
    big(c, s->colour, lm_attention_say(s->attention), (size_t) lm_attention_columns(), word_rows);
    if (!small)
        rule(c, s);
    big(c, "\033[1m", number, 0, rows > others ? rows - others : 1);
    line(c, "\033[1m", "  %s: %s", lm_attention_say(s->attention), p->say);
    line(c, "", "  %s%s%s%s%s", is, p->eid[0] != '\0' ? "   " : "", p->eid,
        p->called[0] != '\0' ? _("   called ") : "", p->called);
}

static void figure(char *out, size_t size, const char *name, int64_t n)
{
    size_t len = strlen(out);
    if (n >= 0 && len + 1 < size)
        snprintf(out + len, size - len, "%s%s %" PRId64, len > 0 ? "   " : " ", name, n);
}

static void tallies(struct canvas *c, const struct lm_watch_tally *t)
{
    char text[256] = "";
    figure(text, sizeof text, _("expected"), t->expected);
    figure(text, sizeof text, _("seen"), t->present);
    figure(text, sizeof text, _("not yet seen"), t->not_seen);
    figure(text, sizeof text, _("heads"), t->heads);
    figure(text, sizeof text, _("look"), t->look);
    figure(text, sizeof text, _("hold"), t->hold);
    line(c, "\033[7m", "%s ", text);
}

static void flag_list(struct canvas *c, const struct lm_watch *w, size_t rows)
{
    for (unsigned i = 0; i < w->n_flags && i < rows; i++) {
        const struct lm_watch_pass *p = &w->flags[i];
        const struct style *s = style_of(p->attention);
        const char *who = p->number[0] != '\0'   ? p->number
                          : p->called[0] != '\0' ? p->called
                                                 : p->eid;
        const char *word = lm_attention_say(s->attention);
        line(c, s->colour, " %s  %s%*s  %s%*s  %s", p->time, word,
            gap(word, lm_attention_columns()), "", who, gap(who, 15), "", p->say);
    }
}

static void reader_line(struct canvas *c, const struct lm_watch *w)
{
    char text[512] = "";
    bool well = true;
    if (w->journal[0] != '\0') {
        line(c, "\033[1;31m", _(" THE JOURNAL FAILED: %s"), w->journal);
        return;
    }
    for (unsigned i = 0; i < w->n_readers; i++) {
        const struct lm_watch_reader *r = &w->readers[i];
        size_t len = strlen(text);
        bool fine = strcmp(r->state, "live") == 0 || strcmp(r->state, "silent") == 0;
        well = well && fine;
        if (len + 1 < sizeof text)
            snprintf(text + len, sizeof text - len, "  %s %s%s%s%s", r->name, fine ? "" : "! ",
                lm_tongue_word(r->state), r->problem[0] != '\0' && !fine ? ": " : "",
                fine ? "" : r->problem);
    }
    line(c, well ? "" : "\033[1;31m", _(" readers:%s"), w->n_readers > 0 ? text : _("  none"));
}

void lm_watch_draw(FILE *out, const struct lm_terminal *t, const struct lm_watch *w)
{
    struct canvas c = {.out = out, .t = t};
    size_t flags = t->rows >= 30 ? 6 : t->rows >= 26 ? 3 : t->rows >= 14 ? 2 : 0;
    size_t foot = flags + 2; /* tallies, flags, readers */
    size_t middle = t->rows > foot + 1 ? t->rows - foot - 1 : 1;
    /* TRANSLATORS: big letters on two lines: A to Z only */
    const char *const lost[] = {_("LOST THE"), _("DAEMON")};
    /* TRANSLATORS: big letters on two lines: A to Z only */
    const char *const none[] = {_("NO SESSION"), _("OPEN")};
    /* TRANSLATORS: big letters: A to Z only */
    const char *const ready = _("READY");
    header(&c, w);
    if (!w->connected)
        alarm_state(&c, lost[0], lost[1], _("LOST THE DAEMON - trying again"));
    else if (!w->session_open && w->idle[0] != '\0')
        alarm_state(&c, none[0], none[1],
            _("NO SESSION OPEN, but codes are read - open one with: lugmark open walk"));
    else if (!w->session_open)
        alarm_state(&c, none[0], none[1], _("NO SESSION OPEN - open one with: lugmark open walk"));
    else if (w->has_last)
        last_animal(&c, &w->last, middle);
    else
        big(&c, "\033[1m", ready, 0, middle);
    blank_to(&c, middle + 1);
    if (w->session_open)
        tallies(&c, &w->tally);
    flag_list(&c, w, flags);
    blank_to(&c, t->rows - 1);
    reader_line(&c, w);
    fflush(out);
}
