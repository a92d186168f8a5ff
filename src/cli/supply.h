/* A supply list as evidence for explanations: from a file, or what the register has in stock. */
#ifndef LUGMARK_CLI_SUPPLY_H
#define LUGMARK_CLI_SUPPLY_H

#include "command.h"
#include "lugmark/explain.h"
#include "lugmark/stock.h"

struct lm_past;

/** Zero-initialise it. Ownership: lm_supply_free(). */
struct lm_supply {
    struct lm_stock_item *items; /**< strip by strip, in order of position */
    size_t n, room;
};

/** Read a file, "-" for standard input. @return LM_EXIT_OK, or another after saying why. */
int lm_supply_file(const char *path, struct lm_supply *supply);

/** Take what the register knows of its strips. @return LM_OK or what the store says. */
enum lm_err lm_supply_store(struct lm_store *store, struct lm_supply *supply);

/** Explain a session with this list. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_supply_explain(
    const struct lm_supply *supply, const struct lm_session *session, struct lm_explain **out);

/** The same with the past of the flock. @param[in] speech  NULL: the evidence is in English. */
enum lm_err lm_supply_explain_past(const struct lm_supply *supply, const struct lm_past *past,
    const struct lm_session *session, const struct lm_speech *speech, struct lm_explain **out);
/** The tongue of the evidence: that of the screens for people, and wherever --lang asks for it. */
const struct lm_speech *lm_supply_speech(const struct lm_args *args, bool for_people);

void lm_supply_free(struct lm_supply *supply);

#endif
