#include "log.h"

#include "clock.h"
#include "lugmark/text.h"
#include "lugmark/time.h"
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define LOG_LINE_MAX 1024u

static size_t clip(int wanted, size_t room)
{
    if (wanted < 0) {
        return 0;
    }
    return (size_t) wanted < room ? (size_t) wanted : room - 1;
}

void log_at(enum log_level level, const char *where, const char *fmt, ...)
{
    char line[LOG_LINE_MAX];
    size_t room = sizeof line - 1; /* one byte stays for the line end */
    size_t at;
    if (getenv("JOURNAL_STREAM") != NULL) {
        at = clip(snprintf(line, room, "<%d>%s: ", (int) level, where), room);
    } else {
        char stamp[LM_TIME_TEXT_SIZE];
        at = clip(
            snprintf(line, room, "%s %s: ", lm_time_format(clock_wall_ms(), stamp), where), room);
    }
    va_list args;
    va_start(args, fmt);
    at += clip(vsnprintf(line + at, room - at, fmt, args), room - at);
    va_end(args);
    char clean[LOG_LINE_MAX]; /* what a program or a name of a file says can be any bytes */
    lm_text_copy(clean, sizeof clean - 1, line, at);
    at = strlen(clean);
    clean[at++] = '\n';
    /* One write a line, so that lines of several programs do not mix; nobody to tell if it fails.
     */
    ssize_t done = write(STDERR_FILENO, clean, at);
    (void) done;
}

void log_problem(enum log_level level, const char *where, const struct lm_problem *p)
{
    char text[LM_PROBLEM_FILE_MAX + 2 * LM_PROBLEM_TEXT_MAX + 64];
    lm_problem_format(p, text, sizeof text);
    log_at(level, where, "%s", text);
}
