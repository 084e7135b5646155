/* base/memory.h - how the C library's allocator treats memory that was given back. */
#ifndef BASE_MEMORY_H
#define BASE_MEMORY_H

/* Keeps freed memory in the process. Large tables are read one after the other: giving their memory
 * back to the system each time costs a third of the reading time in page faults
 * (tests/bench/parse). Called once by a program's main, before other threads are started. */
void wp_memory_keep(void);

#endif
