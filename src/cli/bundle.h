/* The part of export and import that carries a whole register to another machine and back. */
#ifndef LUGMARK_CLI_BUNDLE_H
#define LUGMARK_CLI_BUNDLE_H

#include "command.h"
#include "lugmark/bundle.h"

/** lugmark export --bundle FILE. @return enum lm_exit. */
int lm_export_bundle(const struct lm_args *args);

/** lugmark import --bundle FILE. @return enum lm_exit. */
int lm_import_bundle(const struct lm_args *args);

/** What a person decided beforehand: --keep for all, --decide FILE one by one. */
struct lm_decisions {
    enum lm_keep all;
    struct lm_decision {
        enum lm_clash_kind kind;
        enum lm_keep keep;
        bool used;
        char name[64]; /* key of the animal, 15 digits, or "" */
    } * each;
    size_t n;
};

/**
 * Read --keep and --decide. Each line of the file: `animal KEY ours`, `code 999000000000001 theirs`
 * or `session ours`; # begins a comment.
 * @return LM_EXIT_OK, or another after saying what is wrong. Ownership: lm_decisions_end().
 */
int lm_decisions_read(const struct lm_args *args, struct lm_decisions *out);
void lm_decisions_end(struct lm_decisions *decisions);

/** What was decided of a clash; one of its own goes before --keep. */
enum lm_keep lm_decisions_keep(struct lm_decisions *decisions, const struct lm_clash *clash);

#endif
