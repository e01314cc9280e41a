#include "server/serve/port/tls_identity.hpp"

#include <algorithm>
#include <cstring>
#include <fstream>
#include <iterator>
#include <memory>
#include <set>
#include <stdexcept>

#include <boost/asio/ip/address.hpp>
#include <fmt/format.h>
#include <openssl/bio.h>
#include <openssl/err.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/x509v3.h>

#include "server/serve/whole_file.hpp"

namespace turnstone {
namespace {

namespace fs = std::filesystem;

constexpr const char* kOwnName = "Turnstone station";
constexpr long kDay_s = 86'400;

template <auto release>
struct Release {
    template <class T>
    void operator()(T* object) const noexcept {
        release(object);
    }
};
using Bio = std::unique_ptr<BIO, Release<&BIO_free_all>>;
using Key = std::unique_ptr<EVP_PKEY, Release<&EVP_PKEY_free>>;
using Certificate = std::unique_ptr<X509, Release<&X509_free>>;

/// Of a call of OpenSSL that gives null or 0 when it fails.
template <class T>
T must(T result, const char* what) {
    if (!result) {
        const unsigned long code = ERR_get_error();
        ERR_clear_error();
        throw std::runtime_error(fmt::format("{}: {}", what, code ? ERR_reason_error_string(code) : "failed"));
    }
    return result;
}

std::string text_of(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::string text{std::istreambuf_iterator<char>(file), {}};
    if (!file.good() && !file.eof()) throw std::runtime_error("cannot be read");
    return text;
}

template <class Write>
std::string pem(Write&& write) {
    const Bio memory(must(BIO_new(BIO_s_mem()), "memory"));
    must(write(memory.get()), "PEM");
    char* data = nullptr;
    const long size = BIO_get_mem_data(memory.get(), &data);
    return {data, static_cast<std::size_t>(size)};
}

Certificate certificate_of(const std::string& text) {
    const Bio memory(must(BIO_new_mem_buf(text.data(), static_cast<int>(text.size())), "memory"));
    return Certificate(must(PEM_read_bio_X509(memory.get(), nullptr, nullptr, nullptr), "no certificate in PEM form"));
}

Key key_of(const std::string& text) {
    const Bio memory(must(BIO_new_mem_buf(text.data(), static_cast<int>(text.size())), "memory"));
    return Key(must(PEM_read_bio_PrivateKey(memory.get(), nullptr, nullptr, nullptr), "no private key in PEM form"));
}

std::string fingerprint(const X509& certificate) {
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int size = 0;
    must(X509_digest(&certificate, EVP_sha256(), digest, &size), "fingerprint");
    std::string text;
    for (unsigned int i = 0; i < size; ++i) text += fmt::format("{}{:02X}", i > 0 ? ":" : "", digest[i]);
    return text;
}

bool is_own(X509& certificate) {
    const X509_NAME* subject = X509_get_subject_name(&certificate);
    if (X509_NAME_cmp(subject, X509_get_issuer_name(&certificate)) != 0) return false;
    char name[64] = {};
    X509_NAME_get_text_by_NID(subject, NID_commonName, name, sizeof name);
    return std::string(name) == kOwnName;
}

void extend(X509& certificate, int kind, const std::string& value) {
    X509V3_CTX context;
    X509V3_set_ctx_nodb(&context);
    X509V3_set_ctx(&context, &certificate, &certificate, nullptr, nullptr, 0);
    const std::unique_ptr<X509_EXTENSION, Release<&X509_EXTENSION_free>> extension(
        must(X509V3_EXT_conf_nid(nullptr, &context, kind, value.c_str()), "extension"));
    must(X509_add_ext(&certificate, extension.get(), -1), "extension");
}

/// "IP:192.168.1.20,DNS:station.local"; what is neither is left out.
std::string alternative_names(const std::vector<std::string>& names) {
    std::string text;
    for (const std::string& name : std::set<std::string>(names.begin(), names.end())) {
        boost::system::error_code not_an_address;
        (void)boost::asio::ip::make_address(name, not_an_address);
        const bool plain =
            std::ranges::all_of(name, [](unsigned char c) { return std::isalnum(c) || c == '.' || c == '-'; });
        if (not_an_address && (!plain || name.empty())) continue;
        text += fmt::format("{}{}:{}", text.empty() ? "" : ",", not_an_address ? "DNS" : "IP", name);
    }
    return text.empty() ? "DNS:localhost" : text;
}

/// RFC 5280; for browsers also: names in the extension, since a common name alone is not looked at.
TlsIdentity made(const std::vector<std::string>& names, std::time_t now) {
    const Key key(must(EVP_EC_gen("P-256"), "key"));
    const Certificate certificate(must(X509_new(), "certificate"));
    X509* const x509 = certificate.get();
    must(X509_set_version(x509, X509_VERSION_3), "version");
    std::uint64_t serial = 0;
    must(RAND_bytes(reinterpret_cast<unsigned char*>(&serial), sizeof serial) == 1, "random number");
    must(ASN1_INTEGER_set_uint64(X509_get_serialNumber(x509), serial >> 1U), "serial number");
    // A day back: clocks of phones and of a computer without a network differ.
    must(X509_time_adj_ex(X509_getm_notBefore(x509), -1, 0, &now), "time");
    must(X509_time_adj_ex(X509_getm_notAfter(x509), 819, 0, &now), "time");
    must(X509_set_pubkey(x509, key.get()), "public key");
    must(X509_NAME_add_entry_by_txt(X509_get_subject_name(x509), "CN", MBSTRING_UTF8,
                                    reinterpret_cast<const unsigned char*>(kOwnName), -1, -1, 0),
         "name");
    must(X509_set_issuer_name(x509, X509_get_subject_name(x509)), "name");
    extend(*x509, NID_subject_alt_name, alternative_names(names));
    extend(*x509, NID_basic_constraints, "critical,CA:FALSE");
    extend(*x509, NID_key_usage, "critical,digitalSignature");
    extend(*x509, NID_ext_key_usage, "serverAuth");
    must(X509_sign(x509, key.get(), EVP_sha256()), "signature");
    return {.certificate_pem = pem([&](BIO* out) { return PEM_write_bio_X509(out, x509); }),
            .key_pem = pem([&](BIO* out) {
                return PEM_write_bio_PrivateKey(out, key.get(), nullptr, nullptr, 0, nullptr, nullptr);
            }),
            .fingerprint = fingerprint(*x509)};
}

void keep(const fs::path& path, const std::string& text, mode_t mode) {
    if (const int error = write_whole(path, text, mode, Existing::replaced); error != 0)
        throw std::runtime_error("cannot write " + path.string() + " (" + std::strerror(error) + ")");
}

TlsIdentity read(const fs::path& certificate_path, const fs::path& key_path, X509** parsed) {
    TlsIdentity identity{.certificate_pem = text_of(certificate_path), .key_pem = text_of(key_path), .fingerprint = {}};
    Certificate certificate = certificate_of(identity.certificate_pem);
    const Key key = key_of(identity.key_pem);
    must(X509_check_private_key(certificate.get(), key.get()), "certificate and key do not belong together");
    identity.fingerprint = fingerprint(*certificate);
    *parsed = certificate.release();
    return identity;
}

} // namespace

Result<TlsIdentity> tls_identity(const fs::path& folder, const std::vector<std::string>& names,
                                 std::chrono::system_clock::time_point now) {
    const fs::path certificate_path = folder / "certificate.pem", key_path = folder / "key.pem";
    try {
        const std::time_t now_s = std::chrono::system_clock::to_time_t(now);
        if (fs::exists(certificate_path) || fs::exists(key_path)) {
            for (const fs::path& path : {certificate_path, key_path})
                if (!fs::exists(path))
                    return fail(path.string() + ": is missing beside the other of the two; put it there, or remove "
                                                "both, and new ones are made");
            X509* parsed = nullptr;
            TlsIdentity identity = read(certificate_path, key_path, &parsed);
            const Certificate certificate(parsed);
            std::time_t tomorrow = now_s + kDay_s;
            const bool ends = X509_cmp_time(X509_get0_notAfter(certificate.get()), &tomorrow) < 0;
            if (!ends) return identity;
            if (!is_own(*certificate))
                return fail(certificate_path.string() + ": has expired or will within a day; put a new one there, or "
                                                        "remove it and key.pem, and new ones are made");
        }
        TlsIdentity identity = made(names, now_s);
        fs::create_directories(folder);
        keep(key_path, identity.key_pem, 0600);
        keep(certificate_path, identity.certificate_pem, 0644);
        return identity;
    } catch (const std::exception& error) {
        return fail(folder.string() + ": https cannot be offered: " + error.what() +
                    "; check certificate.pem and key.pem there, or remove both, and new ones are made");
    }
}

} // namespace turnstone
