/* Lines of a file, fast: one big buffer, no allocation a line. */
#ifndef LUGMARK_CLI_LINES_H
#define LUGMARK_CLI_LINES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

#include "lugmark/err.h"

#define LM_LINES_MAX 65536u /**< longest line of a list, bytes */

/** A file being read. lm_lines_open() fills it. */
struct lm_lines {
    FILE *in; /**< borrowed; only its descriptor is read, so nothing may be buffered in it */
    const char *name; /**< for messages; borrowed */
    char *buf;
    size_t size, begin, end, longest;
    long line; /**< number of the line given last, from 1 */
    bool at_end;
};

/**
 * Begin. @param[in] longest  Longest line taken, bytes.
 * @return LM_OK or LM_ENOMEM. Ownership: lm_lines_close() in either case.
 */
enum lm_err lm_lines_open(struct lm_lines *lines, FILE *in, const char *name, size_t longest);
void lm_lines_close(struct lm_lines *lines);

/**
 * The next line, without its end (LF or CR LF) and, for the first one, without a byte order mark.
 * @param[out] line  @p len bytes, not NUL-terminated, valid until the next call.
 * @return LM_OK; LM_EAGAIN at the end; LM_EINPUT (a line too long, a file in UTF-16) or LM_EIO with
 *         @p p filled, after which the file is at its end.
 */
enum lm_err lm_lines_next(
    struct lm_lines *lines, const char **line, size_t *len, struct lm_problem *p);

/** Fill in the file and line of a problem; @p column from 1, or 0. */
void lm_lines_place(const struct lm_lines *lines, long column, struct lm_problem *p);

/** Whether a line holds only blanks and tabs. */
bool lm_line_is_blank(const char *line, size_t len);

#endif
