/** @file program_lines.c
 * What a program writes: event lines on its standard output, messages on its standard error.
 */
#include <string.h>

#include "program.h"

static bool is_blank(const char *line, size_t len)
{
    for (size_t i = 0; i < len; i++) {
        if (line[i] != ' ' && line[i] != '\t' && line[i] != '\r')
            return false;
    }
    return true;
}

/** What a reader may say. Sessions and the register are not a reader's business. */
static bool is_allowed(enum lm_event_kind kind)
{
    return kind == LM_EVENT_READING || kind == LM_EVENT_SIGHTING || kind == LM_EVENT_HEADS;
}

static size_t end_line(struct program *g, const struct lm_sink *sink)
{
    struct lm_event ev;
    size_t len = g->len;
    bool skipped = g->skipping;
    g->len = 0;
    g->skipping = false;
    if (skipped || is_blank(g->line, len))
        return 0;
    if (lm_eventline_parse(g->store, g->line, len, &ev, NULL) != LM_OK || !is_allowed(ev.kind)) {
        sink->reject(sink->ctx, LM_REJECT_SYNTAX, len);
        return 0;
    }
    sink->reading(sink->ctx, &ev);
    return 1;
}

/** Put a piece without a line end behind the line so far. */
static void add_piece(struct program *g, const char *piece, size_t len, const struct lm_sink *sink)
{
    if (g->skipping)
        return;
    if (len > sizeof g->line - g->len) {
        sink->reject(sink->ctx, LM_REJECT_TOO_LONG, g->len + len);
        g->skipping = true;
        return;
    }
    memcpy(g->line + g->len, piece, len);
    g->len += len;
}

size_t program_take_output(
    struct program *g, const char *data, size_t len, const struct lm_sink *sink)
{
    size_t events = 0;
    while (len > 0) {
        const char *end = memchr(data, '\n', len);
        size_t n = end != NULL ? (size_t) (end - data) : len;
        add_piece(g, data, n, sink);
        if (end == NULL)
            break;
        events += end_line(g, sink);
        data += n + 1;
        len -= n + 1;
    }
    return events;
}

static void end_note(struct program *g, const struct lm_sink *sink)
{
    size_t len = g->note_len;
    while (len > 0 && (g->note[len - 1] == ' ' || g->note[len - 1] == '\r'))
        len--;
    g->note_len = 0;
    g->note[len] = '\0';
    if (len == 0)
        return;
    memcpy(g->last, g->note, len + 1);
    if (sink->note != NULL)
        sink->note(sink->ctx, g->note);
}

void program_take_messages(
    struct program *g, const char *data, size_t len, const struct lm_sink *sink)
{
    for (size_t i = 0; i < len; i++) {
        if (data[i] == '\n')
            end_note(g, sink);
        else if (g->note_len < sizeof g->note - 1)
            g->note[g->note_len++] = data[i] != '\0' ? data[i] : ' '; /* the rest of it is cut */
    }
}

size_t program_take_rest(struct program *g, const struct lm_sink *sink)
{
    end_note(g, sink);
    return end_line(g, sink);
}
