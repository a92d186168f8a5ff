/* A supply list in memory, and what its rows must agree on. Private to src/store. */
#ifndef LUGMARK_STOCK_PRIV_H
#define LUGMARK_STOCK_PRIV_H

#include "lugmark/stock.h"

#include <sqlite3.h>

struct stock_row {
    struct lm_stock_item item;
    long line;
    uint32_t order; /* as it came */
    uint32_t strip; /* the order of its strip's first row */
    char fold[LM_VISUAL_MAX + 1];
};

/* Grows; all zero is an empty list. */
struct stock_list {
    struct stock_row *rows;
    size_t n, size;
};

/* 1-based columns of the file for messages, 0 where there is none. */
enum stock_place { STOCK_AT_POSITION, STOCK_AT_EID, STOCK_AT_VISUAL, STOCK_PLACES };
struct stock_places {
    long column[STOCK_PLACES];
};

/* @return LM_OK or LM_ENOMEM. */
enum lm_err lm_stock_keep(struct stock_list *list, const struct lm_stock_item *item, long line);
void lm_stock_drop(struct stock_list *list);

/*
 * Sort by strip (in order of first appearance) and position, and tell every gap (@p gaps: a row
 * that was bad is not a gap), repeated position, code and number.
 * @return LM_OK whether or not something was told, or LM_ENOMEM.
 */
enum lm_err lm_stock_agree(struct stock_list *list, bool gaps, const struct stock_places *places,
    lm_problem_fn *fn, void *ctx);

/* Tell each strip whose printed numbers do not run in order. The list is sorted. */
void lm_stock_orders(const struct stock_list *list, lm_problem_fn *fn, void *ctx);

/* Whether two items with one number are a set for one animal. */
bool lm_stock_is_set(const struct lm_stock_item *a, const struct lm_stock_item *b);

/* Bind ?1 the code or NULL, ?2 the folded number, ?3 the form. @p fold lives until the step. */
void lm_stock_bind_marks(
    sqlite3_stmt *st, const struct lm_stock_item *item, char fold[LM_VISUAL_MAX + 1]);

#endif
