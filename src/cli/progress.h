/* A bar on the terminal for work that takes longer than a second. */
#ifndef LUGMARK_CLI_PROGRESS_H
#define LUGMARK_CLI_PROGRESS_H

#include <stdbool.h>
#include <stdint.h>

/** Plain value; lm_progress_begin() fills it. */
struct lm_progress {
    int64_t begun_ms, shown_ms;
    bool terminal; /**< standard error is one */
    bool drawn;    /**< there is a bar to wipe */
};

void lm_progress_begin(struct lm_progress *p);

/** Draw, at most ten times a second and not within the first second. @p total 0: not known. */
void lm_progress_show(struct lm_progress *p, const char *what, long long done, long long total);

/** Wipe the bar. */
void lm_progress_end(struct lm_progress *p);

#endif
