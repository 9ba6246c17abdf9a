/* For trying Windows programs under Wine, whose bcryptprimitives.dll has not always the one function that Go's library
   needs. Never part of a package. */
#include <windows.h>
#include <ntsecapi.h>
__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE bytes, SIZE_T n) { return RtlGenRandom(bytes, (ULONG)n); }
