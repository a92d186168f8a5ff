/** @file version.h
 * The version of the programs and of liblugmark.
 */
#ifndef LUGMARK_VERSION_H
#define LUGMARK_VERSION_H

#define LM_VERSION "0.1.0"

#endif
