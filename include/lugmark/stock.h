/** @file stock.h
 * Supply lists: which devices came on which strip, in which order. The order is kept for ever: who
 * wears the neighbours of a device is evidence when numbers and codes do not agree.
 *
 * CSV (RFC 4180, UTF-8): strip, position, eid, visual, form, colour, official, received; columns by
 * name in any order, and eid_text (regcsv.h) is taken too. strip, position and at least one of eid
 * and visual must be there, in the header line and in every row. Reading needs no register.
 *
 * Whether a device is used is never written down: it follows from the devices in the register, so
 * that the two cannot disagree. An item is used when a device, worn or removed, carries its code,
 * or carries its number and may be of its form (equal, or one of the two not known).
 */
#ifndef LUGMARK_STOCK_H
#define LUGMARK_STOCK_H

#include "lugmark/regcsv.h"
#include "lugmark/store.h"

#define LM_STOCK_POSITION_MAX 1000000000u

/** What became of an item, as the register's devices say. */
enum lm_stock_use {
    LM_STOCK_LEFT, /**< no device in the register carries it */
    LM_STOCK_WORN, /**< an animal wears it */
    LM_STOCK_GONE  /**< it was worn and removed */
};

/** One device of a strip. Plain value. All text is clean UTF-8 (text.h). */
struct lm_stock_item {
    char strip[LM_NAME_MAX + 1];    /**< never empty; compared as it is written */
    uint32_t position;              /**< place along the strip, 1 to LM_STOCK_POSITION_MAX */
    struct lm_eid eid;              /**< or none; then `visual` is not empty */
    char visual[LM_VISUAL_MAX + 1]; /**< or "" */
    char colour[LM_NAME_MAX + 1];
    struct lm_date received; /**< or no date */
    uint8_t form;            /**< enum lm_device_form */
    bool official;
    uint8_t use;                  /**< enum lm_stock_use; read from a file: LM_STOCK_LEFT */
    char animal[LM_NAME_MAX + 1]; /**< who wears it, or wore it last; "" while it is left */
};

/**
 * Called for each item; return non-LM_OK to stop.
 * @param[in] line  Where it stands in the file, 0 when it comes from the register.
 */
typedef enum lm_err lm_stock_fn(const struct lm_stock_item *item, long line, void *ctx);

struct lm_stock_hooks {
    lm_stock_fn *item;
    lm_problem_fn *problem; /**< may be NULL */
    lm_problem_fn *note;    /**< something to know that is no error: printed numbers that do not run
                                 in order along their strip; may be NULL */
    lm_progress_fn *progress; /**< may be NULL */
    void *ctx;
    bool lenient;         /**< reconcile: a form that is not known becomes unknown */
    struct lm_date today; /**< set: dates after it are refused; none: taken */
};

/**
 * Read a supply list. Items are given strip by strip in order of first appearance, each strip in
 * order of position, and only after the whole file was read and nothing was bad.
 * Refused, each by line and column, at most 1000 told one by one: what lm_regcsv_read() refuses in
 * the cells of a row, a gap in the positions of a strip (they may begin at any number), a position
 * that a strip has twice, a code that is there twice, a number that is there twice. The same number
 * on two strips whose forms are both known and differ is a set for one animal and is taken.
 * @param[in] name  For messages.
 * @return LM_OK, LM_EINPUT after problems were reported, LM_EIO, LM_ENOMEM, or what item gave.
 * Thread: any.
 */
enum lm_err lm_stock_read(FILE *in, const char *name, const struct lm_stock_hooks *hooks);

/** Whether an item is a mark: the same code and, where both have one, the same number. */
bool lm_stock_same_pair(const struct lm_stock_item *a, const struct lm_device *b);

/* --- the stock in the register --- */

/** How the items of lm_store_stock_add() are judged and told. */
struct lm_stock_add {
    const char *name; /**< of the file, for messages; may be NULL */
    bool allow_used;  /**< take items that a device carries already, if code and number agree */
    bool any_use;     /**< a bundle: what is used was judged in the other copy of the register */
    lm_problem_fn *problem; /**< every bad item is told, not only the first; may be NULL */
    void *ctx;
};

/**
 * Add @p n items, all or nothing. @p lines may be NULL; else the line of each.
 * Refused: what lm_stock_read() refuses between rows, also against what the register has: a gap
 * after the strip's items that are there, a position, code or number in the stock already; a code
 * or number that a device carries (unless `allow_used`, and its pair agrees).
 * @return LM_OK; LM_EINPUT after the problems were reported (lm_store_problem() has the first);
 *         LM_EARG for an item without strip, position or mark; LM_EIO, LM_EFULL, LM_EBUSY.
 */
enum lm_err lm_store_stock_add(struct lm_store *store, const struct lm_stock_item *items,
    const long *lines, size_t n, const struct lm_stock_add *how);

/**
 * Each item of one strip, or of all (@p strip NULL; strips in order of arrival), by position.
 * @return LM_OK, what @p fn gave, LM_EIO, LM_ENOMEM.
 */
enum lm_err lm_store_stock_each(
    struct lm_store *store, const char *strip, lm_stock_fn *fn, void *ctx);

/** The item with this code (country and national code). @return LM_OK or LM_ENOTFOUND. */
enum lm_err lm_store_stock_by_code(
    struct lm_store *store, struct lm_eid eid, struct lm_stock_item *out);

/**
 * Each item with this number, folded (lm_visual_fold()); a set has one on each of its strips.
 * @return as lm_store_stock_each().
 */
enum lm_err lm_store_stock_by_number(
    struct lm_store *store, const char *visual, lm_stock_fn *fn, void *ctx);

/**
 * The item to take next: the first left one after the last one used; when none was used or none is
 * left after it, the first one left at all.
 * @return LM_OK; LM_ENOTFOUND: no such strip, or all of it is used.
 */
enum lm_err lm_store_stock_next(
    struct lm_store *store, const char *strip, struct lm_stock_item *out);

/** A strip in few words. */
struct lm_stock_strip {
    struct lm_stock_item first; /**< its first item: form, colour and so on are taken from it */
    struct lm_stock_item next;  /**< as lm_store_stock_next(); `strip` is "" when all is used */
    uint32_t items, left, worn, gone; /**< items = left + worn + gone */
};
typedef enum lm_err lm_stock_strip_fn(const struct lm_stock_strip *strip, void *ctx);

/** Each strip in order of arrival. @return as lm_store_stock_each(). */
enum lm_err lm_store_stock_strips(struct lm_store *store, lm_stock_strip_fn *fn, void *ctx);

#endif
