/* What is said to the host, and what is done when it says something. */
#ifndef TALK_H
#define TALK_H

#define TALK_FRAME_PERIOD_MS 250U

void talk_begin(void);

/* Hear what has come, and send what is due. */
void talk_turn(void);

#endif
