/* Standard output, or a file that is never overwritten by surprise. */
#ifndef LUGMARK_CLI_OUT_FILE_H
#define LUGMARK_CLI_OUT_FILE_H

#include "command.h"

/** Where a command writes. Plain value; lm_out_open() fills it. */
struct lm_out {
    FILE *file;
    const char *path; /**< NULL for standard output */
    char temp[4200];  /**< written first, then renamed; "" when the file is new */
};

/**
 * Open what -o/--output names, or standard output without it. A file that is there is refused
 * unless --overwrite is given.
 * @return LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_out_open(const struct lm_args *args, struct lm_out *out);

/**
 * Finish. With @p good false, or when the disk refuses, no file is left behind.
 * @return LM_EXIT_OK, or LM_EXIT_FAILED after saying what is wrong.
 */
int lm_out_close(struct lm_out *out, bool good);

#endif
