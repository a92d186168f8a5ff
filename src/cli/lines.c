/* Lines of a file, fast: one big buffer, no allocation a line. */
#include "lines.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define BLOCK 262144u /* a read of this size costs less than the work on its lines */

enum lm_err lm_lines_open(struct lm_lines *lines, FILE *in, const char *name, size_t longest)
{
    *lines = (struct lm_lines){.in = in, .name = name, .longest = longest};
    lines->size = longest + BLOCK; /* a whole line and a whole block always fit */
    lines->buf = malloc(lines->size);
    return lines->buf != NULL ? LM_OK : LM_ENOMEM;
}

void lm_lines_close(struct lm_lines *lines)
{
    free(lines->buf);
    lines->buf = NULL;
}

void lm_lines_place(const struct lm_lines *lines, long column, struct lm_problem *p)
{
    snprintf(p->file, sizeof p->file, "%s", lines->name);
    p->line = lines->line;
    p->column = column;
}

bool lm_line_is_blank(const char *line, size_t len)
{
    for (size_t i = 0; i < len; i++)
        if (line[i] != ' ' && line[i] != '\t' && line[i] != '\r')
            return false;
    return true;
}

/* Read more behind what is there. read() and not fread(): what a person types or a reader sends
 * has to come through line by line. */
static enum lm_err fill(struct lm_lines *l, struct lm_problem *p)
{
    memmove(l->buf, l->buf + l->begin, l->end - l->begin);
    l->end -= l->begin;
    l->begin = 0;
    if (l->end > l->longest) {
        l->line++;
        lm_lines_place(l, 0, p);
        return lm_problem_set(p, LM_EINPUT, "check that it is the right file",
            "a line is longer than %zu bytes", l->longest);
    }
    ssize_t n;
    do
        n = read(fileno(l->in), l->buf + l->end, BLOCK);
    while (n < 0 && errno == EINTR);
    if (n < 0) {
        lm_lines_place(l, 0, p);
        return lm_problem_set(p, LM_EIO, NULL, "it could not be read: %s", strerror(errno));
    }
    l->end += (size_t) n;
    l->at_end = n == 0;
    return LM_OK;
}

/* Marks of an encoding at the very beginning. */
static enum lm_err begin_marks(struct lm_lines *l, struct lm_problem *p)
{
    const char *b = l->buf + l->begin;
    size_t n = l->end - l->begin;
    if (n >= 2 && ((b[0] == '\xFF' && b[1] == '\xFE') || (b[0] == '\xFE' && b[1] == '\xFF'))) {
        l->line = 1;
        lm_lines_place(l, 1, p);
        return lm_problem_set(
            p, LM_EINPUT, "save it again as UTF-8", "the file is in UTF-16, not in UTF-8");
    }
    if (n >= 3 && memcmp(b, "\xEF\xBB\xBF", 3) == 0)
        l->begin += 3;
    return LM_OK;
}

enum lm_err lm_lines_next(
    struct lm_lines *lines, const char **line, size_t *len, struct lm_problem *p)
{
    char *stop = NULL;
    size_t searched = 0;
    enum lm_err err;
    for (;;) {
        size_t there = lines->end - lines->begin;
        if (there > searched)
            stop = memchr(lines->buf + lines->begin + searched, '\n', there - searched);
        if (stop != NULL || lines->at_end)
            break;
        searched = there;
        bool first = lines->line == 0 && searched < 3;
        err = fill(lines, p);
        if (err == LM_OK && first)
            err = begin_marks(lines, p);
        if (err != LM_OK) {
            lines->begin = lines->end = 0; /* nothing can be read behind it */
            lines->at_end = true;
            return err;
        }
        searched = first ? 0 : searched;
    }
    if (stop == NULL && lines->begin == lines->end)
        return LM_EAGAIN;
    *line = lines->buf + lines->begin;
    *len = stop != NULL ? (size_t) (stop - *line) : lines->end - lines->begin;
    lines->begin += *len + (stop != NULL);
    if (*len > 0 && (*line)[*len - 1] == '\r')
        --*len;
    lines->line++;
    return LM_OK;
}
