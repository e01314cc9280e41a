#pragma once
/// The certificate with which a station answers https, and its key.
#include <chrono>
#include <filesystem>
#include <string>
#include <vector>

#include "shared/result.hpp"

namespace turnstone {

struct TlsIdentity {
    std::string certificate_pem; ///< may be a chain, the station's own first
    std::string key_pem;
    std::string fingerprint; ///< SHA-256 of the certificate as browsers show it: "AB:CD:..."
};

/// Reads certificate.pem and key.pem of `folder`. When both are missing they are made, and kept, so that a phone that
/// was told to trust the station once knows it again: EC P-256, signed by itself, for `names` (addresses and host
/// names), good for 820 days (phones refuse more than 825). Such a one is replaced when less than a day of it is left.
/// The key is readable by its owner alone. The error says what is wrong with which file, and what to do.
[[nodiscard]] Result<TlsIdentity> tls_identity(const std::filesystem::path& folder,
                                               const std::vector<std::string>& names,
                                               std::chrono::system_clock::time_point now);

} // namespace turnstone
