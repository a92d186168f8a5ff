/** @file regcsv_map.h
 * Private to the mapping of a foreign layout: what its file said.
 */
#ifndef LM_REGCSV_MAP_H
#define LM_REGCSV_MAP_H

#include "regcsv_priv.h"

enum regcsv_order { ORDER_NONE, ORDER_DMY, ORDER_MDY, ORDER_YMD };

/** Their name of a column, or a word in one, and ours. */
struct regcsv_pair {
    char their[LM_VISUAL_MAX + 1];
    char ours[LM_VISUAL_MAX + 1]; /**< of a word: what the cell becomes */
    long line;                    /**< in the mapping */
    uint8_t col;                  /**< enum regcsv_col or COL_IGNORED */
};

struct lm_regcsv_map {
    char name[LM_PROBLEM_FILE_MAX];
    struct regcsv_list columns; /**< struct regcsv_pair */
    struct regcsv_list words;   /**< struct regcsv_pair */
    char constant[COL_COUNT][LM_VISUAL_MAX + 1];
    long constant_line[COL_COUNT]; /**< 0: there is none */
    enum regcsv_order order;
    bool others_ignored;
};

/** Parse a date written in this order; a year has four digits. @return LM_OK or LM_EFRAME. */
enum lm_err lm_regcsv_order_date(
    enum regcsv_order order, const char *s, size_t n, struct lm_date *out);

#endif
