/* A lot before it leaves: the rules of a sale joined with the register and with what came at the
 * race. Shared by the parts of `lugmark sale-check`. */
#ifndef LUGMARK_CLI_SALE_H
#define LUGMARK_CLI_SALE_H

#include "command.h"
#include "lugmark/rulepack.h"
#include "lugmark/store.h"

#define LM_SALE_PACKS 2u       /**< the general one and the one that was asked for */
#define LM_SALE_WORDS_MAX 200u /**< entries of one list option */
#define LM_SALE_SETTING 2000u  /**< longest list kept in the register, bytes */

/* --- packs --- */

/** Called for each pack file found, in the order of search. @p pack is NULL when it is refused. */
typedef void lm_pack_fn(
    const char *path, struct lm_rulepack *pack, const struct lm_problem *p, void *ctx);

/** Look at every pack file in the usual places; the pack is freed after the call. */
void lm_packs_each(lm_pack_fn *fn, void *ctx);

/**
 * Load the pack that a word names: a file (a path, or a name ending in .json), else an id looked
 * for in the usual places.
 * @return LM_EXIT_OK, or another after saying what is wrong.
 */
int lm_pack_load(const struct lm_args *args, const char *word, struct lm_rulepack **pack);

/** sale-check --packs and --explain-rule. @return enum lm_exit. */
int lm_packs_list(const struct lm_args *args);
int lm_packs_explain(const struct lm_args *args, const char *id);

/* --- what the person said --- */

/** What a rule asks for by the person's own setting. */
struct lm_sale_override {
    const char *rule;
    const char *word; /**< off, note, look or hold */
};

/** Options and settings of the register. Zero-initialise. */
struct lm_sale_said {
    struct lm_rule_context ctx;
    uint8_t born; /**< enum lm_answer, for the whole lot */
    struct lm_sale_override overrides[LM_SALE_WORDS_MAX];
    size_t n_overrides;
    struct lm_tag_type types[LM_SALE_WORDS_MAX];
    char *texts[12]; /**< what the lists point into; owned */
    const char **lists[8];
    size_t n_texts, n_lists;
};

/** Options that --keep writes into the register, and the setting each is kept in. */
const char *lm_sale_setting(const char *option);

/** Value of an option: as given, else as kept in the register, else NULL. Owned by @p said. */
int lm_sale_value(const struct lm_args *args, struct lm_store *store, struct lm_sale_said *said,
    const char *option, const char **value);

/** Take what was said; ids are checked against the packs. @return LM_EXIT_OK, or another. */
int lm_sale_said_take(const struct lm_args *args, struct lm_store *store,
    const struct lm_rule_pack *const *packs, size_t n_packs, struct lm_sale_said *said);

/** Keep in the register what was given. @return LM_EXIT_OK, or another. */
int lm_sale_said_keep(const struct lm_args *args, struct lm_store *store);
void lm_sale_said_free(struct lm_sale_said *said);

/* --- the race --- */

/** One animal, or one mark of nobody, that came. */
struct lm_sale_came {
    char key[LM_NAME_MAX + 1];      /**< of the animal, "" for nobody */
    struct lm_eid eid;              /**< nobody's code */
    char called[LM_VISUAL_MAX + 1]; /**< or nobody's number */
    int64_t t_ms;
    bool read;
};

/** What a session of the race says beside who came. */
struct lm_sale_flag {
    char key[LM_NAME_MAX + 1]; /**< "" for no animal we know */
    enum lm_reason reason;
    enum lm_attention attention;
    char what[LM_VISUAL_MAX + 1]; /**< code or number it is about, or "" */
};

/** A session, folded again. Zero-initialise. */
struct lm_sale_race {
    int64_t id;
    bool joined, closed;
    bool has_heads;
    uint32_t heads;
    int64_t opened_ms;
    char lot[LM_NAME_MAX + 1];
    struct lm_sale_came *came; /**< in the order they walked */
    size_t n_came, room_came;
    struct lm_sale_flag *flags;
    size_t n_flags, room_flags;
    char (*expected)[LM_NAME_MAX + 1]; /**< keys of its roll */
    size_t n_expected;
};

/**
 * Fold a session of the register.
 * @param[in] now  The register as it is now: a code that was nobody's then may be somebody's.
 * @return LM_EXIT_OK, or another after saying what is wrong. Ownership: lm_sale_race_free().
 */
int lm_sale_race_join(
    struct lm_store *store, int64_t id, const struct lm_roll *now, struct lm_sale_race *race);
void lm_sale_race_free(struct lm_sale_race *race);

/* --- the check --- */

/** One thing to say of an animal or of the lot. */
struct lm_sale_result {
    const struct lm_rule_pack *pack; /**< NULL: from the race */
    const struct lm_rule *rule;
    enum lm_reason reason; /**< from the race */
    enum lm_outcome outcome;
    enum lm_attention attention;
    bool by_setting; /**< the person's own setting decided */
    char words[LM_RULE_WORDS];
};

struct lm_sale_animal {
    char key[LM_NAME_MAX + 1];
    char number[LM_VISUAL_MAX + 1]; /**< official number, else any */
    char code[LM_EID_TEXT_SIZE];
    char species[LM_NAME_MAX + 1];
    const char *sex, *age;
    int64_t t_ms;
    size_t place; /**< in the order they walked, from 1; 0: did not come */
    bool read;
    enum lm_attention attention;
    size_t first, n_results; /**< in `results` */
    size_t passed;           /**< rules that it passes */
};

struct lm_sale {
    const struct lm_args *args;
    struct lm_store *store;
    struct lm_roll *roll; /**< the register as it is now */
    struct lm_rulepack *packs[LM_SALE_PACKS];
    const struct lm_rule_pack *rules[LM_SALE_PACKS];
    size_t n_packs;
    struct lm_sale_said said;
    struct lm_sale_race race;
    char lot[LM_NAME_MAX + 1];
    struct lm_sale_animal *animals;
    size_t n_animals;
    struct lm_sale_result *results;
    size_t n_results, room_results;
    size_t lot_first; /**< results of the lot begin here */
    enum lm_attention lot_attention;
};

/** Judge every animal and the lot. @return LM_EXIT_OK, or another after saying what is wrong. */
int lm_sale_judge(struct lm_sale *sale);

/** How many animals have this attention. */
size_t lm_sale_count(const struct lm_sale *sale, enum lm_attention attention);

/** Whether anything is to be held or looked at. */
bool lm_sale_flagged(const struct lm_sale *sale);

/** An English text of ours in the tongue of who asks; NULL: as it is. */
const char *lm_sale_in(const struct lm_speech *speech, const char *english)
    __attribute__((format_arg(2)));

/** Id of what a result is about: the rule's, or the reason's. */
const char *lm_sale_id(const struct lm_sale_result *result);

/* --- what must be done before loading --- */

struct lm_sale_task {
    enum lm_attention attention;
    char text[480];
    char rules[120];
    size_t *animals; /**< places in the lot */
    size_t n, room;
};

struct lm_sale_tasks {
    struct lm_sale_task *at;
    size_t n, room;
};

/** Group the results; what holds comes first. @return LM_OK or LM_ENOMEM. */
enum lm_err lm_sale_tasks_make(const struct lm_sale *sale, struct lm_sale_tasks *tasks);
void lm_sale_tasks_free(struct lm_sale_tasks *tasks);

/* --- output --- */

int lm_sale_text(const struct lm_sale *sale);
int lm_sale_json(const struct lm_sale *sale);

/** The movement list. @param[in] csv  CSV, else a table for people. */
int lm_sale_list(const struct lm_sale *sale, bool csv);

#endif
