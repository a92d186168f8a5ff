/** @file err.h
 * Error codes and the description of a problem that a person can mend.
 */
#ifndef LUGMARK_ERR_H
#define LUGMARK_ERR_H

#include <stddef.h>

/** What went wrong; 0 is success, every failure is negative. The comment says whose fault it is. */
enum lm_err {
    LM_OK = 0,
    LM_EARG = -1,        /**< the caller's bug: a bad argument */
    LM_EIO = -2,         /**< the operating system or the disk refused */
    LM_EGONE = -3,       /**< the device or the peer is no longer there */
    LM_EAGAIN = -4,      /**< nothing yet, try again later */
    LM_EFRAME = -5,      /**< the bytes do not form a frame or a known text form */
    LM_ECHECK = -6,      /**< a checksum or a control bit is wrong */
    LM_ENOMEM = -7,      /**< out of memory, or a fixed bound is reached */
    LM_ENOSUP = -8,      /**< not supported here */
    LM_ERANGE = -9,      /**< well formed, but the value cannot exist */
    LM_EDAMAGED = -10,   /**< text damaged on its way, usually by a spreadsheet */
    LM_EAMBIGUOUS = -11, /**< two readings are possible; ask, never guess */
    LM_ENOTFOUND = -12,  /**< no such animal, device, session or file */
    LM_EEXISTS = -13,    /**< there is one already */
    LM_EBUSY = -14,      /**< somebody else holds it */
    LM_ENEWER = -15,     /**< written by a newer version of this program */
    LM_EINPUT = -16,     /**< the user's file or argument is bad; the problem says where */
    LM_EFULL = -17       /**< the disk is full */
};

/** Return a short English description of @p err; never NULL. Thread: any. */
const char *lm_err_str(enum lm_err err);

#define LM_PROBLEM_FILE_MAX 256
#define LM_PROBLEM_TEXT_MAX 320

/**
 * A problem as a person needs it: where, what, and how to mend it.
 * Filled by functions that take untrusted input. Plain value, nothing to free.
 */
struct lm_problem {
    enum lm_err err;
    char file[LM_PROBLEM_FILE_MAX]; /**< file name, or empty */
    long line;                      /**< 1-based line, 0 when it does not apply */
    long column; /**< 1-based column (CSV field, or byte of the line), 0 for none */
    char what[LM_PROBLEM_TEXT_MAX]; /**< what is wrong; control characters already replaced */
    char mend[LM_PROBLEM_TEXT_MAX]; /**< how to mend it, or empty */
};

/**
 * Fill in a problem.
 * @param[out] p     May be NULL: then only @p err is returned.
 * @param[in]  err   The error to record.
 * @param[in]  mend  How to mend it; may be NULL.
 * @param[in]  fmt   printf format of what is wrong.
 * @return @p err, so that a caller can write `return lm_problem_set(...)`.
 * The position (file, line, column) is left as it is. Thread: any.
 */
enum lm_err lm_problem_set(struct lm_problem *p, enum lm_err err, const char *mend, const char *fmt,
    ...) __attribute__((format(printf, 4, 5)));

/**
 * Write a problem on one line: `FILE:LINE:COLUMN: WHAT; to mend: MEND`.
 * @param[out] out  Buffer, always NUL-terminated when @p size > 0.
 * @return The length the whole line has, as snprintf does.
 */
int lm_problem_format(const struct lm_problem *p, char *out, size_t size);

#endif
