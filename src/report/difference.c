#include "report/difference.h"
#include "report/tongue.h"

void lm_difference_parts(const struct lm_count_figures *f, struct lm_part out[LM_PARTS])
{
    size_t n = 0;
    out[n++] = (struct lm_part){"repeats", N_("seen in more than one session"), f->repeats};
    out[n++] = (struct lm_part){"unidentified",
        f->unidentified < 0 ? N_("fewer heads than animals identified: somebody miscounted")
                            : N_("heads that nobody identified"),
        f->unidentified};
    out[n++] = (struct lm_part){"not_in_book", N_("identified, but not in the book at the cut-off"),
        (int64_t) f->identified - f->present};
    out[n++] = (struct lm_part){"not_found", N_("in the book and due, but not found"),
        -(int64_t) f->counts[LM_COUNT_NOT_FOUND]};
    out[n++] = (struct lm_part){"not_covered", N_("in the book, but no session was for them"),
        -(int64_t) f->counts[LM_COUNT_NOT_COVERED]};
    out[n++] = (struct lm_part){"not_due", N_("in the book, but not due on their session's day"),
        -(int64_t) f->counts[LM_COUNT_NOT_DUE]};
}
