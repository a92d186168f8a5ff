/* The parts of the command stock. */
#ifndef LUGMARK_CLI_STOCK_H
#define LUGMARK_CLI_STOCK_H

#include <jansson.h>

#include "command.h"
#include "lugmark/stock.h"

/** lugmark stock import FILE. @return enum lm_exit. */
int lm_stock_import(const struct lm_args *args, const char *name);

/** An item as JSON; new reference, NULL when out of memory. */
json_t *lm_stock_json(const struct lm_stock_item *item);

#endif
