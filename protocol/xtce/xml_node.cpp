#include "protocol/xtce/xml_node.hpp"

#include <memory>
#include <new>

#include <libxml/xmlwriter.h>

namespace turnstone {

namespace {

/// XML 1.0, 2.2: no control characters but tab, line feed and carriage return, no U+FFFE and U+FFFF.
std::string allowed(const std::string& text) {
    constexpr const char* kReplacement = "\xEF\xBF\xBD";
    std::string out;
    for (std::size_t at = 0; at < text.size(); ++at) {
        const auto byte = static_cast<unsigned char>(text[at]);
        const bool is_refused = text.compare(at, 3, "\xEF\xBF\xBE") == 0 || text.compare(at, 3, "\xEF\xBF\xBF") == 0;
        if (byte >= 0x20 ? !is_refused : byte == '\t' || byte == '\n' || byte == '\r') {
            out += text[at];
            continue;
        }
        out += kReplacement;
        if (is_refused) at += 2;
    }
    return out;
}

const xmlChar* characters(const std::string& text) {
    return reinterpret_cast<const xmlChar*>(text.c_str());
}

void write(xmlTextWriter* writer, const XmlNode& node, const std::string& space) {
    xmlTextWriterStartElement(writer, characters(node.name));
    if (!space.empty()) xmlTextWriterWriteAttribute(writer, characters("xmlns"), characters(space));
    for (const auto& [name, value] : node.attributes)
        xmlTextWriterWriteAttribute(writer, characters(name), characters(allowed(value)));
    if (!node.text.empty()) xmlTextWriterWriteString(writer, characters(allowed(node.text)));
    for (const XmlNode& child : node.children) write(writer, child, "");
    xmlTextWriterEndElement(writer);
}

} // namespace

std::string to_xml(const XmlNode& root, const std::string& space) {
    const std::unique_ptr<xmlBuffer, void (*)(xmlBuffer*)> buffer(xmlBufferCreate(), xmlBufferFree);
    if (buffer == nullptr) throw std::bad_alloc();
    {
        const std::unique_ptr<xmlTextWriter, void (*)(xmlTextWriter*)> writer(xmlNewTextWriterMemory(buffer.get(), 0),
                                                                              xmlFreeTextWriter);
        if (writer == nullptr) throw std::bad_alloc();
        xmlTextWriterSetIndent(writer.get(), 1);
        xmlTextWriterStartDocument(writer.get(), nullptr, "UTF-8", nullptr);
        write(writer.get(), root, space);
        xmlTextWriterEndDocument(writer.get());
    }
    return reinterpret_cast<const char*>(xmlBufferContent(buffer.get()));
}

} // namespace turnstone
