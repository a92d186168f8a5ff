/** @file statement_words.h
 * Names of the machine forms of a statement, for people.
 */
#ifndef LM_REPORT_STATEMENT_WORDS_H
#define LM_REPORT_STATEMENT_WORDS_H

#define LM_STATEMENT_WORD 64u

/** A movement's lm_move_name() in the tongue of the screens; as it is in English. @return @p out.
 */
const char *lm_statement_words(const char *name, char out[LM_STATEMENT_WORD]);

#endif
