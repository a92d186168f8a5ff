/** @file checksum.h
 * One place where a checksum's word is taken: a fuzzer cannot guess one, and what lies behind it
 * must be reached, so in a fuzz build every checksum fits.
 */
#ifndef LM_CORE_CHECKSUM_H
#define LM_CORE_CHECKSUM_H

#include <stdbool.h>

/** Whether a checksum fits, given whether it is right. */
static inline bool lm_checksum_fits(bool right)
{
#ifdef FUZZING_BUILD_MODE_UNSAFE_FOR_PRODUCTION
    (void) right;
    return true;
#else
    return right;
#endif
}

#endif
