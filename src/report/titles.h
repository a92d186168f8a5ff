/* The one table of what each kind is called, for every form that a person reads: text, print, the
 * count, explanations. Machine forms have lm_kind_name() and its like instead. */
#ifndef LUGMARK_REPORT_TITLES_H
#define LUGMARK_REPORT_TITLES_H

#include "lugmark/count.h"
#include "lugmark/explain.h"
#include "lugmark/session.h"

/*
 * In English, which is the key of the catalogs: _(lm_kind_title(kind)) where it is translated. ""
 * for what is no kind.
 */
const char *lm_kind_title(enum lm_kind kind);                 /**< "Expected and not seen" */
const char *lm_explain_kind_title(enum lm_explain_kind kind); /**< "wears a new device" */
const char *lm_count_kind_title(enum lm_count_kind kind);     /**< "Strangers: codes and ..." */

#endif
