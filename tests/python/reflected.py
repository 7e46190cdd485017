"""Asks a server what it offers, over both versions of the reflection protocol."""

import grpc
from google.protobuf import descriptor_pb2
from grpc_reflection.v1alpha import reflection_pb2

# Version 1 has the messages of v1alpha under another package, so one set of classes serves both.
METHODS = {
    "v1": "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo",
    "v1alpha": "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo",
}


def without_json_names(file: descriptor_pb2.FileDescriptorProto) -> descriptor_pb2.FileDescriptorProto:
    """The file without the names that follow from the fields' own; some compilers write them out."""
    for message in file.message_type:
        for field in message.field:
            field.ClearField("json_name")
    return file


class Reflection:
    """One version of the reflection protocol on one channel."""

    def __init__(self, channel: grpc.Channel, version: str) -> None:
        self._call = channel.stream_stream(
            METHODS[version],
            request_serializer=reflection_pb2.ServerReflectionRequest.SerializeToString,
            response_deserializer=reflection_pb2.ServerReflectionResponse.FromString,
        )

    def _ask(self, **question: str) -> reflection_pb2.ServerReflectionResponse:
        request = reflection_pb2.ServerReflectionRequest(**question)
        (answer,) = self._call(iter([request]))
        return answer

    def services(self) -> set[str]:
        """The full names of all services."""
        answer = self._ask(list_services="")
        return {service.name for service in answer.list_services_response.service}

    def file_of(self, symbol: str) -> descriptor_pb2.FileDescriptorProto:
        """The file that defines a symbol."""
        answer = self._ask(file_containing_symbol=symbol)
        files = [
            descriptor_pb2.FileDescriptorProto.FromString(encoded)
            for encoded in answer.file_descriptor_response.file_descriptor_proto
        ]
        package, _, _ = symbol.rpartition(".")
        for file in files:
            names = {f"{file.package}.{service.name}" for service in file.service}
            if file.package == package and symbol in names:
                return without_json_names(file)
        raise AssertionError(f"no file of {symbol} among {[file.name for file in files]}: {answer}")
