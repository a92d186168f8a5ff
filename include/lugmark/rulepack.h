/** @file rulepack.h
 * Rule packs as files: JSON, schema `lugmark.rules/1`. What the parts mean is in rules.h.
 *
 *   {"schema":"lugmark.rules/1", "id":"us", "name":"...", "jurisdiction":"...",
 *    "as_of":"2024-08-19",              date of the newest source that was read
 *    "authority":"...",                 who decides
 *    "countries":{"US":840},            letters in printed numbers and the digits they stand for
 *    "destinations":[{"id":"interstate","text":"..."}],
 *    "cases":[{"id":"group-number","text":"...","ask":false}],
 *    "formats":[{"id":"US-AIN","meaning":"...","pattern":"840\\d{12}" or null,
 *       "for":["visual","electronic"],  left out: no number of an animal
 *       "blanks":true,                  the pattern knows of blanks; else separators are dropped
 *       "prefixes":["OH"],"species":["goat"],
 *       "check":"mod37-36"|"uk-cattle"|"chip","doubt":true,
 *       "valid":["..."],"invalid":["..."]}],         tried when the pack is loaded
 *    "rules":[{"id":"US-01","species":["goat","sheep"],"of":"animal"|"lot",
 *       "applies_when":{...},"unless":{...},"requirement":{"kind":"official-device",...},
 *       "severity":"E"|"W"|"I","evidence":"V"|"V2"|"M"|"own",
 *       "citation":"...","as_of":"...","source_url":"...","text":"...","todo":"..."}]}
 *
 * Conditions (applies_when, unless, and "when" of only-when): age_months_min, age_months_max
 * (below), sex, castrated, born_here, at_race, single_device (true or false), purpose,
 * destination, not_destination, case, not_case, tag_type, colour, number_begins, wears,
 * identified_by (lists), born_from, born_before, move_from, move_before, applied_from,
 * applied_before (dates), season (["11-20","12-31"]).
 * Beside its kind (lm_need_name()) a requirement has, by kind: forms, chip_forms, electronic,
 * formats, date, days, colours, except, text, places, year, months, paper, when.
 *
 * A pack is refused whole, with line and reason, for: a key that is not known, a word or date that
 * is none, an id that is there twice or refers to nothing, a pattern that is none, an example that
 * its format does not bear out, "own" in a pack of a jurisdiction. Whatever a rule says that is not
 * marked V or own, it asks for a look at most.
 */
#ifndef LUGMARK_RULEPACK_H
#define LUGMARK_RULEPACK_H

#include "lugmark/rules.h"

#define LM_RULEPACK_BYTES 1048576u /**< longest file taken */

struct lm_rulepack;

/**
 * Load a pack from text.
 * @param[in]  name  For messages.
 * @param[out] pack  Set on LM_OK. Ownership: lm_rulepack_free().
 * @return LM_OK; LM_EINPUT with @p p filled; LM_ENOMEM.
 */
enum lm_err lm_rulepack_parse(const char *text, size_t len, const char *name,
    struct lm_rulepack **pack, struct lm_problem *p);

/** Load a pack from a file. @return As above; LM_ENOTFOUND, LM_EIO with @p p filled. */
enum lm_err lm_rulepack_read(const char *path, struct lm_rulepack **pack, struct lm_problem *p);

/** The rules in it; valid as long as the pack. */
const struct lm_rule_pack *lm_rulepack_rules(const struct lm_rulepack *pack);
void lm_rulepack_free(struct lm_rulepack *pack); /**< NULL is allowed */

#endif
